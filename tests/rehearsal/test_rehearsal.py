"""Whole runs on simulated units: what each shipped scenario promises, and the observer over random ones."""

from functools import cache
from random import Random

import pytest

from benchctl.core.decision import Frame, Settings
from benchctl.core.orders import Orders
from benchctl.core.scenario import Answer, Fault, Scenario
from benchctl.core.state import Mode
from benchctl.files import read_program, read_scenario, read_site
from benchctl.planning import plan
from benchctl.rehearsal import Rehearsal
from tests.laws.observer import first_memory, watch


@cache
def place():
    return read_site("northquay")[0]


@cache
def settings_of(name: str) -> Settings:
    program = read_program(name)[0]
    return Settings.of(place(), program, plan(place(), program).scan_period_s)


class Kept:
    """A listener: events, orders, and what the observer finds."""

    def __init__(self) -> None:
        self.events: list[tuple[float, str, int, str]] = []
        self.orders: list[Orders] = []
        self.broken: list[str] = []
        self.memory = first_memory(place())
        self.peak_kw = 0.0

    def __call__(self, frame: Frame) -> None:
        inputs, decision = frame.inputs, frame.decision
        self.events += [(inputs.now_s, e.kind, e.unit, e.text) for e in decision.events]
        self.orders.append(decision.orders)
        self.peak_kw = max(self.peak_kw, decision.seen.delivered_kw or 0.0)
        self.memory, broken = watch(self.memory, inputs, decision.orders, place())
        self.broken += [f"{inputs.now_s:.1f} s: {b}" for b in broken]

    def texts(self, kind: str) -> list[str]:
        return [text for _, k, _, text in self.events if k == kind]


def rehearsed(name: str, scenario: Scenario | None, seed: int = 0, *, with_bytes: bool = False) -> tuple[Frame, Kept]:
    kept = Kept()
    last = Rehearsal(settings_of(name), scenario, seed=seed, listeners=(kept,), with_bytes=with_bytes).run()
    return last, kept


def shipped(name: str) -> Scenario:
    return read_scenario(name, place())[0]


@cache
def ladder_with(scenario: str) -> tuple[Frame, Kept]:
    return rehearsed("ladder", shipped(scenario))


@pytest.mark.parametrize("scenario", ["quiet", "fan-failure", "lost-unit", "mute-meter", "rough-day"])
def test_no_shipped_scenario_makes_the_bench_break_a_law(scenario):
    assert ladder_with(scenario)[1].broken == []


def test_a_quiet_ladder_is_completed_checks_first_and_every_unit_is_cool_at_the_end():
    last, kept = ladder_with("quiet")
    state = last.decision.state
    assert (state.mode, state.outcome) == (Mode.DONE, "completed")
    assert [t.result.value for t in state.check.results] == ["pass"] * 4
    assert not kept.texts("alarm")
    assert not any(u.hot or u.possible for u in state.units)
    assert kept.peak_kw <= 420.0


def test_with_a_failing_fan_one_unit_comes_off_and_the_others_carry_on():
    last, kept = ladder_with("fan-failure")
    assert last.decision.state.outcome == "completed"
    assert any(k == "alarm" and "airflow lost" in text for _, k, _, text in kept.events)
    assert len({unit for _, k, unit, text in kept.events if k == "alarm" and "airflow" in text}) == 1
    assert not kept.texts("trip")


def test_a_lost_unit_is_told_and_joins_only_by_command():
    last, kept = ladder_with("lost-unit")
    assert last.decision.state.outcome == "completed"
    when = {kind: at for at, kind, _, text in kept.events if kind in ("lost", "returned")}
    joined = next(at for at, kind, _, text in kept.events if kind == "command" and text.startswith("join"))
    assert when["lost"] < when["returned"] < joined


def test_a_meter_that_freezes_or_falls_silent_is_told_and_the_test_is_completed():
    last, kept = ladder_with("mute-meter")
    assert last.decision.state.outcome == "completed"
    alarms = kept.texts("alarm")
    assert any("does not move" in a for a in alarms)
    assert any("does not answer" in a for a in alarms)


def test_a_rough_day_ends_when_the_site_needs_the_set_and_names_what_was_wrong_before():
    last, kept = ladder_with("rough-day")
    assert last.decision.state.outcome == "tripped"
    assert kept.texts("trip") == ["the site needs the set"]
    assert any("phase C draws nothing" in t for t in kept.texts("element"))
    assert any("not in force" in t for t in kept.texts("alarm"))


def test_the_same_seed_gives_the_same_orders_and_events():
    first, second = rehearsed("ladder", shipped("rough-day"), 3)[1], rehearsed("ladder", shipped("rough-day"), 3)[1]
    assert first.events == second.events
    assert first.orders == second.orders


FAULTS = (
    ("fan fails", None),
    ("mute", None),
    ("local", None),
    ("emergency stop", None),
    ("restarts", None),
    ("contactor will not close", 2.0),
    ("contactor will not open", 2.0),
    ("refuses writes", 4.0),
    ("ignores writes", None),
    ("other master", 20.0),
    ("temperature sensor lost", None),
    ("busy", 6.0),
    ("airflow proof stuck", 1.0),
)
SOURCE = (
    ("volts sag", 85.0),
    ("hertz low", 90.0),
    ("site load", 60.0),
    ("source stops", None),
    ("site needs the set", None),
)


def random_day(seed: int) -> Scenario:
    """A few faults and answers of an invented day."""
    random = Random(seed)
    banks = [u.name for u in place().units]
    faults = [
        Fault(
            random.uniform(60.0, 500.0), *_kind(random, FAULTS, random.choice(banks)), for_s=random.uniform(5.0, 60.0)
        )
        for _ in range(4)
    ]
    faults += [Fault(random.uniform(200.0, 600.0), *_kind(random, SOURCE, "source"), for_s=random.uniform(2.0, 20.0))]
    answers = [
        Answer("answer", to="prompts", after_s=random.uniform(2.0, 30.0), text=random.choice(["yes", "yes", "no"]))
    ]
    answers += [
        Answer(
            random.choice(["reset", "resume", "join", "unload", "skip"]),
            at_s=random.uniform(100.0, 700.0),
            unit=random.choice(banks),
        )
        for _ in range(4)
    ]
    answers.append(Answer("drop", at_s=700.0))
    return Scenario("random", "", tuple(faults), tuple(answers))


def _kind(random: Random, kinds, on: str) -> tuple[str, str, float | None]:
    name, value = random.choice(kinds)
    return name, on, value


@pytest.mark.parametrize("seed", range(10))
def test_the_observer_finds_nothing_in_a_random_day(seed):
    kept = Kept()
    rehearsal = Rehearsal(settings_of("ladder"), random_day(seed), seed=seed, listeners=(kept,), with_bytes=False)
    over = rehearsal.operator.over
    rehearsal.operator.over = lambda frame: over(frame) or frame.inputs.now_s > 760.0  # type: ignore[method-assign]
    last = rehearsal.run()
    assert kept.broken == []
    assert last.fault == ""
    assert all(o.keep == 0 for o in last.decision.orders.units)
