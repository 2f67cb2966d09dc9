"""Equal states have equal digests, and nothing in a state may change unnoticed."""

import dataclasses
import math
import struct
from enum import Enum

import pytest

from benchctl.core.decision import first_state
from benchctl.core.program import Silence
from benchctl.core.reading import Electrical, InstrumentReading, Outcome, UnitReading
from benchctl.core.state import Alarm, CheckState, InstrumentState, Mode, Prompt, Result, Shelved, State, Trial, Trip
from benchctl.record.codec import noun, plain
from benchctl.record.digest import state_digest, value_bytes
from tests.record.bench import SETTINGS, frames


def test_a_state_and_its_copy_have_one_digest():
    for frame in frames(12):
        state = frame.decision.state
        assert state_digest(state) == state_digest(state.copy()) == state_digest(noun(State, plain(state)))


def test_the_order_in_which_alarms_came_into_the_table_does_not_matter():
    one, other = first_state(SETTINGS), first_state(SETTINGS)
    rows = {("a", 0): Alarm("a", 0), ("b", -1): Alarm("b", -1)}
    one.alarms, other.alarms = rows, dict(reversed(rows.items()))
    assert state_digest(one) == state_digest(other)


def changed(value: object) -> object:
    """Another value of the same type."""
    if isinstance(value, Enum):
        return next(member for member in type(value) if member is not value)
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    if isinstance(value, float):
        return struct.unpack(">d", (struct.unpack(">q", struct.pack(">d", value))[0] ^ 1).to_bytes(8, "big"))[0]
    if isinstance(value, str):
        return value + "x"
    return 1.5


@pytest.mark.parametrize("name", [f.name for f in dataclasses.fields(State) if f.name not in ("units", "instruments")])
def test_any_field_of_the_state_changes_the_digest(name):
    state = first_state(SETTINGS)
    before = state_digest(state)
    new = {
        "check": CheckState(index=0),
        "prompt": Prompt("k", "t", 1.0, Silence.STAY),
        "trip": Trip("r", 0, "t", 1, 2.0),
        "alarms": {("a", 1): Alarm("a", 1)},
        "overrides": (("a", 1, "b", "c"),),
        "shelved": (Shelved("a", 1, 2.0, "b", "c", "d"),),
    }
    value = getattr(state, name)
    setattr(state, name, new[name] if name in new else changed(value))
    assert state_digest(state) != before


@pytest.mark.parametrize("unit", [0, 1])
def test_any_scalar_of_a_unit_changes_the_digest(unit):
    state = first_state(SETTINGS)
    seen = {state_digest(state)}
    tried = 0
    for field in dataclasses.fields(state.units[unit]):
        value = getattr(state.units[unit], field.name)
        if isinstance(value, bool | int | float | str):
            new = state.copy()
            setattr(new.units[unit], field.name, changed(value))
            seen.add(state_digest(new))
            tried += 1
    assert tried > 25
    assert len(seen) == tried + 1


def test_the_last_bit_of_a_reading_changes_the_digest():
    state = first_state(SETTINGS)
    state.mode = Mode.RUN
    digests = set()
    for exhaust_c in (20.1, math.nextafter(20.1, 0.0)):
        for volts in ((400.0, None, 1.0), (400.0, 1.0, None)):
            for outcome in (Outcome.OK, Outcome.PART):
                state.units[1].last = UnitReading(outcome, exhaust_c=exhaust_c, electrical=Electrical(volts))
                digests.add(state_digest(state))
    assert len(digests) == 8


def everything() -> State:
    """A state that has one of every noun in it."""
    state = first_state(SETTINGS)
    state.check.results = (Trial(0, -1, Result.PASS, "t", 3.0, 3.1),)
    state.prompt = Prompt("k", "t", 1.0, Silence.STAY)
    state.trip = Trip("r", 0, "t", 1, 2.0)
    state.alarms = {("a", 1): Alarm("a", 1)}
    state.shelved = (Shelved("a", 1, 2.0, "b", "c", "d"),)
    return state


NOUNS = {  # how a changed noun gets into a state
    UnitReading: lambda s: (s.units[1].last, lambda new: setattr(s.units[1], "last", new)),
    InstrumentReading: lambda s: (s.instruments[0].last, lambda new: setattr(s.instruments[0], "last", new)),
    Electrical: lambda s: (
        s.units[0].last.electrical,
        lambda new: setattr(s.units[0], "last", dataclasses.replace(s.units[0].last, electrical=new)),
    ),
    InstrumentState: lambda s: (s.instruments[0], lambda new: setattr(s, "instruments", (new,))),
    CheckState: lambda s: (s.check, lambda new: setattr(s, "check", new)),
    Trial: lambda s: (s.check.results[0], lambda new: setattr(s.check, "results", (new,))),
    Prompt: lambda s: (s.prompt, lambda new: setattr(s, "prompt", new)),
    Trip: lambda s: (s.trip, lambda new: setattr(s, "trip", new)),
    Shelved: lambda s: (s.shelved[0], lambda new: setattr(s, "shelved", (new,))),
    Alarm: lambda s: (s.alarms["a", 1], lambda new: setattr(s, "alarms", {("a", 1): new})),
}


@pytest.mark.parametrize("kind", NOUNS)
def test_any_field_of_any_noun_in_a_state_changes_the_digest(kind):
    seen = {state_digest(everything())}
    names = [field.name for field in dataclasses.fields(kind) if field.name not in ("electrical", "last", "results")]
    for name in names:
        state = everything()
        noun_now, put = NOUNS[kind](state)
        put(dataclasses.replace(noun_now, **{name: changed(getattr(noun_now, name))}))
        seen.add(state_digest(state))
    assert len(seen) == len(names) + 1


def test_the_binary_form_is_the_one_that_records_were_made_with():
    # Written out by hand: type letters, little-endian lengths and doubles. Another interpreter must not differ.
    value = ((1, True, None), "µ", 0.1)
    by_hand = (
        b"("
        + struct.pack("<i", 3)
        + b"("
        + struct.pack("<i", 3)
        + b"i"
        + struct.pack("<i", 1)
        + b"TN"
        + b"u"
        + struct.pack("<i", 2)
        + "µ".encode()
        + b"g"
        + struct.pack("<d", 0.1)
    )
    assert value_bytes(value) == by_hand
