"""The digest of a state: SHA-256 over its values, 16 bytes of it.

The values go through Python's own binary writer in its version 2, which has no references between objects: equal
values give equal bytes, exact to the last bit of every double. Text such as repr would cost many times as much, in
every scan. The alarms count in the order of their keys: the order of insertion does not matter.

Fields are found from the declarations, so that none can be forgotten; only those that hold other nouns are named here,
and a new one of these is refused by the binary writer until it is.
"""

import dataclasses
import hashlib
import marshal
import typing
from enum import Enum
from operator import attrgetter
from typing import Any

from benchctl.core.reading import Electrical, InstrumentReading, UnitReading
from benchctl.core.state import Alarm, CheckState, InstrumentState, Prompt, Shelved, State, Trial, Trip, UnitState

VERSION = 2


def _all_but(kind: type[Any], *others: str) -> "attrgetter[tuple[Any, ...]]":
    """What gets the values of all fields but these; of enums the value."""
    hints = typing.get_type_hints(kind)
    enums = {name for name, hint in hints.items() if isinstance(hint, type) and issubclass(hint, Enum)}
    names = [field.name for field in dataclasses.fields(kind) if field.name not in others]
    return attrgetter(*[f"{name}._value_" if name in enums else name for name in names])


_STATE = _all_but(State, "units", "instruments", "check", "prompt", "trip", "alarms", "shelved")
_UNIT = _all_but(UnitState, "last")
_UNIT_READING = _all_but(UnitReading, "electrical")
_INSTRUMENT = _all_but(InstrumentState, "last")
_INSTRUMENT_READING = _all_but(InstrumentReading, "electrical")
_ELECTRICAL = _all_but(Electrical)
_CHECK = _all_but(CheckState, "results")
_TRIAL = _all_but(Trial)
_PROMPT = _all_but(Prompt)
_TRIP = _all_but(Trip)
_ALARM = _all_but(Alarm)
_SHELVED = _all_but(Shelved)


def state_digest(state: State) -> bytes:
    """16 bytes that tell two states apart."""
    return hashlib.sha256(value_bytes(_values(state))).digest()[:16]


def value_bytes(value: Any) -> bytes:
    """Bytes of tuples and lists of plain values."""
    return marshal.dumps(value, VERSION)


def _values(state: State) -> tuple[Any, ...]:
    """Everything in a state as plain values."""
    alarms = state.alarms
    return (
        _STATE(state),
        [(_UNIT(u), _UNIT_READING(u.last), _ELECTRICAL(u.last.electrical)) for u in state.units],
        [(_INSTRUMENT(i), _INSTRUMENT_READING(i.last), _ELECTRICAL(i.last.electrical)) for i in state.instruments],
        _CHECK(state.check),
        [_TRIAL(t) for t in state.check.results],
        state.prompt and _PROMPT(state.prompt),
        state.trip and _TRIP(state.trip),
        [(key, _ALARM(alarms[key])) for key in sorted(alarms)],
        [_SHELVED(s) for s in state.shelved],
    )
