"""Random days with real frames: faults of every kind that the simulator knows, and no scan that breaks a law."""

from collections.abc import Callable
from random import Random

import pytest

from benchctl.core.decision import Frame
from benchctl.core.scenario import FAULTS, Answer, Fault, FaultKind, Scenario
from benchctl.rehearsal import Rehearsal
from tests.rehearsal.test_rehearsal import Kept, place, settings_of

SEEDS = (1, 2, 3, 4)
FAULTS_A_DAY = 12
UNTIL_S = 240.0  # checks are through after some 80 s, the first hold begins after some 110 s
Value = Callable[[Random], float]


def stage(random: Random) -> float:
    return float(random.randint(1, 2))


def share(random: Random) -> float:
    return random.choice([0.2, 0.5, 0.9])


def one_of(*values: float) -> Value:
    return lambda random: random.choice(values)


# What each kind of value may be; a kind that is new must be given a row here.
VALUES: dict[str, Value] = {
    "1 or 0": one_of(0.0, 1.0),
    "share of airflow left, 0 to 1": share,
    "stage number, from 1": stage,
    "stage number, then phase as 1, 2, 3 after the point: 2.3 = stage 2 phase C": one_of(1.1, 2.3),
    "exception code": one_of(2.0, 4.0, 6.0),
    "kW": one_of(0.0, 20.0, 60.0),
    "phase, 1 to 3": one_of(1.0, 2.0, 3.0),
    "two phases: 12, 13 or 23": one_of(12.0, 13.0, 23.0),
    "factor": one_of(0.5, 2.0),
    "percent of rated": one_of(85.0, 92.0, 97.0, 104.0),
    "share of rated kW, 0 to 1": one_of(0.3, 0.8),
    "s": one_of(0.05, 0.2, 1.0),
    "share, 0 to 1": share,
}


def ends() -> dict[str, list[str]]:
    """What a fault of each sort may be on."""
    site = place()
    devices = (*site.units, *site.instruments)
    return {
        "unit": [u.name for u in site.units],
        "instrument": [x.name for x in site.instruments],
        "source": ["source"],
        "cable": sorted({f"{d.endpoint.host}:{d.endpoint.port}" for d in devices}),
    }


def fault_of(random: Random, kind: FaultKind) -> Fault:
    """One fault of a kind: from the checks to the first hold, for a few scans up to a minute."""
    value = VALUES[kind.value](random) if kind.value else None
    at_s, for_s = random.uniform(10.0, 200.0), random.choice([0.7, 3.0, 8.0, 60.0])
    return Fault(round(at_s, 1), kind.name, random.choice(ends()[kind.on]), value, for_s)


def day(seed: int) -> Scenario:
    """Of the closed list of faults, the seed's share (all seeds together have every kind), and what a person may do."""
    random = Random(seed)
    kinds = FAULTS[seed % len(SEEDS) :: len(SEEDS)]
    faults = [fault_of(random, kind) for kind in (*kinds, *random.choices(FAULTS, k=FAULTS_A_DAY - len(kinds)))]
    answers = [
        Answer("override", at_s=12.0, text="check load", why="a day of trials"),
        Answer("answer", to="prompts", after_s=random.uniform(1.0, 10.0), text=random.choice(["yes", "yes", "no"])),
    ]
    for verb in random.choices(["reset", "resume", "join", "confirm fans", "acknowledge", "skip"], k=12):
        unit = random.choice(ends()["unit"]) if verb in ("join", "confirm fans") else ""
        answers.append(Answer(verb, at_s=round(random.uniform(30.0, UNTIL_S), 1), unit=unit))
    return Scenario(f"day {seed}", "", tuple(faults), (*answers, Answer("drop", at_s=UNTIL_S - 10.0)))


def test_every_kind_of_fault_has_values_and_a_day():
    assert {kind.value for kind in FAULTS if kind.value} == set(VALUES)
    assert {fault.fault for seed in SEEDS for fault in day(seed).faults} == {kind.name for kind in FAULTS}


@pytest.mark.parametrize("seed", SEEDS)
def test_no_scan_of_a_random_day_with_real_frames_breaks_a_law(seed):
    scenario, kept = day(seed), Kept()
    frames: list[Frame] = []
    rehearsal = Rehearsal(settings_of("ladder"), scenario, seed=seed, listeners=(kept, frames.append))
    over = rehearsal.operator.over
    rehearsal.operator.over = lambda frame: over(frame) or frame.inputs.now_s > UNTIL_S  # type: ignore[method-assign]
    last = rehearsal.run()
    told = f"seed {seed}: {[(f.at_s, f.fault, f.on, f.value, f.for_s) for f in scenario.faults]}"
    assert kept.broken == [], told
    assert last.fault == "", told
    assert not kept.texts("fault"), told
    assert all(frame.sweep is not None for frame in frames), told
    assert all(o.keep == 0 and o.raise_to is None for o in last.decision.orders.units), told
    assert any(u.possible for frame in frames for u in frame.decision.state.units), told
