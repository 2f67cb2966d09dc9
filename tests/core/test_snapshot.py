"""What a screen is shown of a scan. Figures are the stepper's invented plant: our own arithmetic beside each."""

import dataclasses
import math
import typing
from dataclasses import replace

import pytest

from benchctl.core import shown
from benchctl.core.command import Command, Verb
from benchctl.core.decide import last_resort
from benchctl.core.decision import Decision, Frame
from benchctl.core.inputs import Inputs
from benchctl.core.program import Block, Hold, Ramp, Target, Wait
from benchctl.core.reading import Outcome
from benchctl.core.seen import Seen
from benchctl.core.shown import Snapshot
from benchctl.core.snapshot import snapshot
from benchctl.core.unit_condition import CONDITIONS
from tests.core.worlds import Stepper, program, site, staged, stepped

PLAIN = (str, float, int, bool, type(None))


class Watched(Stepper):
    """A stepper that keeps the frame of its last scan."""

    def decided(self, inputs: Inputs) -> Decision:
        self.inputs = inputs
        return super().decided(inputs)

    def loaded(self, power_kw: float) -> "Watched":
        super().loaded(power_kw)
        return self

    def started(self) -> "Watched":
        super().started()
        return self

    def shown(self) -> Snapshot:
        return snapshot(self.frame(), self.settings)

    def frame(self) -> Frame:
        return Frame(self.scans - 1, 1_700_000_000.0 + self.now_s, self.inputs, self.last, self.writes)


def watched(tested=None, **changes) -> Watched:
    return Watched(site(staged(40, 60, own=True), staged(20, 80), **changes), tested)


def values(value):
    """All that a snapshot holds, down to the leaves."""
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from values(getattr(value, field.name))
    elif isinstance(value, tuple):
        for part in value:
            yield from values(part)
    else:
        yield value


def test_a_snapshot_holds_plain_values_only_and_no_number_that_is_none():
    bench = watched(program(Ramp(Target(100), 5.0), Hold(30.0)))
    for world in (bench, bench.started()):
        world.run(3.0)
        for value in values(world.shown()):
            assert type(value) in PLAIN
            assert not isinstance(value, float) or math.isfinite(value)


def test_every_noun_says_in_types_what_it_holds():
    nouns: list[typing.Any] = [c for c in vars(shown).values() if dataclasses.is_dataclass(c)]
    assert len(nouns) == 8
    for noun in nouns:
        assert noun.__dataclass_params__.frozen
        assert noun.__slots__ == tuple(typing.get_type_hints(noun))


def test_what_was_never_heard_is_none_and_not_zero():
    bench = watched()
    bench.plant.volts = None
    for fake in bench.plant.units:
        fake.silent = Outcome.SILENT
    bench.scan()
    s = bench.shown()
    assert (s.delivered_kw, s.read_back_kw, s.read_back_units, s.commanded_kw) == (None, None, 0, None)
    assert (s.source.volts_v, s.source.hertz, s.source.age_s, s.source.told_by) == (None, None, None, "")
    for unit in s.units:
        assert unit.condition == "not met"
        assert (unit.age_s, unit.read_back_kw, unit.closed, unit.exhaust_c, unit.remote) == (None,) * 5
        assert unit.cool_down_s == 20.0, "the whole debt until it is known to be less"
    assert s.off is None, "nobody may say that load is off"
    assert not s.loaded


def test_commanded_read_back_and_measured_are_three_values():
    bench = watched().loaded(100.0)
    first, second = bench.shown().units
    assert first.commanded_kw == pytest.approx(first.read_back_kw)
    assert first.measured_kw == pytest.approx(first.read_back_kw)
    assert second.measured_kw is None, "it has no meter of its own"
    for fake in bench.plant.units:
        fake.ignores = True
    bench.scan(Command(Verb.UNLOAD, "operator"))
    bench.run(1.0)
    s = bench.shown()
    assert s.read_back_kw is not None
    assert s.commanded_kw is not None
    assert s.read_back_kw > s.commanded_kw
    assert s.off is False


def test_kw_are_those_at_the_volts_present():
    bench = watched().loaded(100.0)
    bench.plant.volts = 380.0  # P ~ U²: 100 kW at 400 V are 90.25 kW at 380 V
    bench.scan()
    s = bench.shown()
    assert s.read_back_kw == pytest.approx(90.25)
    assert s.possible_kw == pytest.approx(90.25)
    assert s.source.volts_v == 380.0
    assert s.margin_kw == pytest.approx(s.ceiling_kw - 90.25)


def test_a_set_point_unit_has_no_stages_to_show():
    bench = Watched(site(stepped(100, 5))).loaded(50.0)
    (unit,) = bench.shown().units
    assert (unit.stages, unit.closed, unit.read_back_kw) == (0, None, 50.0)


def test_closed_stages_are_named():
    bench = watched().loaded(140.0)
    one, two = bench.shown().units
    assert (one.closed, one.stages, two.closed) == (("1", "2"), 2, ("2",)) or one.closed is not None
    loads = {"bank 1": (40.0, 60.0), "bank 2": (20.0, 80.0)}
    for unit in (one, two):
        assert unit.closed is not None
        assert unit.read_back_kw == pytest.approx(sum(loads[unit.name][int(name) - 1] for name in unit.closed))


def test_the_leg_its_time_to_go_and_the_programs_are_shown():
    bench = watched(program(Ramp(Target(100), 10.0, "up"), Hold(30.0), Block(Target(0)), Hold(20.0))).started()
    bench.run(5.0)
    s = bench.shown()
    assert s.leg is not None
    assert (s.leg.index, s.leg.count, s.leg.segment, s.leg.kind, s.leg.label) == (0, 4, 1, "ramp", "up")
    assert s.leg.to_go_s is not None
    assert s.program_to_go_s is not None
    assert s.leg.spent_s + s.leg.to_go_s == pytest.approx(10.0)
    assert s.program_s + s.program_to_go_s == pytest.approx(60.0)
    assert s.target_kw == pytest.approx(10.0 * s.leg.spent_s)


def test_nobody_knows_how_long_the_operator_takes_and_the_question_says_what_answers_do():
    bench = watched(program(Wait("check the oil", 60.0), Hold(30.0))).started()
    bench.scan()
    s = bench.shown()
    assert s.leg is not None
    assert s.leg.to_go_s is None
    assert s.waiting
    assert s.program_to_go_s == 30.0
    assert s.prompt is not None
    assert (s.prompt.kind, s.prompt.text, s.prompt.if_silent) == ("wait", "check the oil", "unload")
    assert (s.prompt.yes, s.prompt.no) == ("go on with the program", "unload")


def test_without_a_program_there_is_no_leg_and_no_time_to_go():
    s = watched().loaded(60.0).shown()
    assert (s.program, s.leg, s.program_to_go_s) == ("", None, None)


def test_alarms_that_came_first_are_marked_and_a_trip_names_its_unit():
    bench = watched().loaded(100.0)
    bench.plant.units[0].air = False
    bench.run(1.5)
    bench.plant.units[1].fields["emergency_stop"] = True
    bench.run(1.5)
    s = bench.shown()
    assert {a.row for a in s.alarms if a.first_out} == {"load without air"}
    assert {a.unit for a in s.alarms if a.first_out} == {"bank 1"}
    (stop,) = [a for a in s.alarms if a.row == "emergency stop"]
    assert (stop.unit, stop.active, stop.acknowledged, stop.latched, stop.reaction) == (
        "bank 2", True, False, True, "drop")  # fmt: skip
    assert s.trip is not None
    assert (s.trip.row, s.trip.unit) == ("emergency stop", "bank 2")
    assert s.dropped


def test_the_longest_cool_down_is_that_of_our_own_units():
    bench = watched().loaded(100.0)
    assert bench.shown().cool_down_s == 20.0
    bench.scan(Command(Verb.UNLOAD, "operator"))
    bench.until(lambda w: not any(u.possible for u in w.state.units))
    bench.run(6.0)
    s = bench.shown()
    assert 10.0 < s.cool_down_s < 20.0
    assert {u.condition for u in s.units} == {"cooling", "off"}
    assert s.off is True


def test_permissives_fill_in():
    bench = watched(program(Hold(5.0)))
    bench.scan()
    rows = dict(bench.shown().permissives)
    assert rows["somebody has taken charge"] is False
    assert rows["no trip is latched"] is True
    assert None in rows.values()


def test_a_scan_that_could_not_be_decided_never_says_that_load_is_off():
    bench = watched().loaded(100.0)
    orders = last_resort(bench.settings)
    failed = Decision(bench.state, orders, (), Seen())
    s = snapshot(replace(bench.frame(), decision=failed, fault="KeyError: x"), bench.settings)
    assert s.fault == "KeyError: x"
    assert (s.loaded, s.off) == (True, None)
    assert s.commanded_kw == 0.0
    assert s.possible_kw == pytest.approx(100.0)
    assert all(u.fan_ordered for u in s.units)


def break_first(bench: Stepper, **changes) -> Stepper:
    """Give fields of the first unit a value; what is none of them is a field of its reading."""
    unit = bench.plant.units[0]
    for name, value in changes.items():
        if hasattr(unit, name):
            setattr(unit, name, value)
        else:
            unit.fields[name] = value
    return bench


LOW = Command(Verb.SET_LOAD, value=20.0)
CASES = {  # condition: what happens to the first unit before the last scan
    "not met": lambda w: break_first(w, silent=Outcome.SILENT),
    "to be cooled": lambda w: w.scan(),
    "hot": lambda w: break_first(w, exhaust_c=80.0).scan(),
    "cooling": lambda w: (w.scan(), w.scan(Command(Verb.TAKE_CHARGE)), w.run(5.0)),
    "off": lambda w: w.ready(),
    "ready": lambda w: (w.loaded(160.0), w.scan(LOW), w.until(lambda w: not w.state.units[0].hot)),
    "loaded": lambda w: w.loaded(160.0),
    "not ready": lambda w: break_first(w.ready(), identity_ok=False),
    "changed": lambda w: break_first(w.loaded(160.0), load=0),
    "local": lambda w: break_first(w.loaded(160.0), remote=False),
    "tripped": lambda w: (break_first(w.loaded(160.0), air=False), w.run(2.0)),
    "stopped": lambda w: break_first(w.loaded(160.0), emergency_stop=True),
    "stuck closed": lambda w: (break_first(w.loaded(160.0), wont_open=3), w.scan(Command(Verb.DROP)), w.run(5.0)),
    "swapped": lambda w: break_first(w.loaded(160.0), serial="other"),
    "stale": lambda w: (break_first(w.loaded(160.0), silent=Outcome.SILENT), w.run(3.0)),
    "lost": lambda w: (break_first(w.loaded(160.0), silent=Outcome.SILENT), w.run(6.0)),
    "found on": lambda w: (break_first(w, load=1), w.scan()),
}


@pytest.mark.parametrize("word", [c.word for c in CONDITIONS])
def test_each_condition_has_its_word(word):
    bench = watched()
    if word == "found on" and "found" not in {f.name for f in dataclasses.fields(bench.state.units[0])}:
        pytest.skip("nothing can be found on yet")
    CASES[word](bench)
    bench.scan()
    assert bench.shown().units[0].condition == word
