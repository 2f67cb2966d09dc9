"""A frame as rows of the record, and back: what is kept of a scan, and how it is packed.

`raw` holds what the wire said: the packed sweep as it is (shape "sweep"), or, in a run that has no bytes, the readings
(shape "readings"). `rest` is everything else of the inputs, `orders` what was decided. Nouns are zlib streams of their
JSON. Orders and the rest come back again and again, so `scan` names the row of `noun` that holds them: a scan is one
row and the two that it names, and never needs the scan before.

A sweep is not compressed: that would take as long as the digest of the state, for a third of its few hundred bytes.
"""

import zlib
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, fields
from functools import lru_cache
from operator import attrgetter
from typing import Any

from benchctl.core.command import Command
from benchctl.core.decision import Event, Frame
from benchctl.core.inputs import Inputs, Recorder
from benchctl.core.orders import Orders, UnitWrites
from benchctl.core.reading import InstrumentReading, Maybe, Outcome, UnitReading
from benchctl.core.site import Site
from benchctl.field.sweep import Sweep, pack, readings, unpack
from benchctl.files.bounded import from_json, inflated
from benchctl.record.codec import compact, noun, plain
from benchctl.record.digest import state_digest

SWEEP, READINGS = "sweep", "readings"
NS = 1_000_000_000
KNOWN = 1000  # packed nouns that are remembered


@dataclass(frozen=True, slots=True)
class Readings:
    """What was heard in one scan, where there are no bytes."""

    units: tuple[UnitReading, ...]
    instruments: tuple[InstrumentReading, ...]


@dataclass(frozen=True, slots=True)
class Rest:
    """Inputs of one scan that did not come over the wire in it."""

    commands: tuple[Command, ...] = ()
    writes: tuple[UnitWrites, ...] = ()
    recorder: Recorder = Recorder.ABSENT
    clock_stepped_s: float = 0.0
    cut_short: bool = False
    attached: bool | None = None
    stood_still_s: float = 0.0
    consoles: tuple[str, ...] = ()

    @staticmethod
    def of(inputs: Inputs) -> "Rest":
        """The rest of these inputs: every field that they share."""
        return Rest(*_REST(inputs))


_REST = attrgetter(*(f.name for f in fields(Rest)))


def packed(value: Any, kind: Any = None) -> bytes:
    """A noun as a zlib stream of its JSON."""
    return zlib.compress(compact(plain(value, kind)).encode(), 1)


def unpacked(kind: type[Any], data: bytes) -> Any:
    """The noun back. Raises ValueError, zlib.error."""
    return noun(kind, from_json(inflated(data)))


@lru_cache(KNOWN)
def shared(kind: type[Any], data: bytes | None) -> Any:
    """As unpacked, for values that nobody changes: the same bytes give the same object."""
    if data is None:
        raise ValueError("their row is missing")
    return unpacked(kind, data)


def words(text: str) -> str:
    """Text that SQLite can hold whatever a device or a person sent: lone surrogates become question marks."""
    return text if text.isascii() else text.encode("utf-8", "replace").decode("utf-8")


def nanoseconds(wall_s: float) -> int:
    """A wall clock's double as whole microseconds, told in nanoseconds: today's doubles hold no more."""
    return round(wall_s * 1e6) * 1000


class Packer:
    """Makes rows of frames; remembers the orders and the rests that it has packed."""

    def __init__(self) -> None:
        self._known: dict[Hashable, bytes] = {}

    def scan(self, frame: Frame) -> tuple[Any, ...]:
        """The row of `scan` without rest, orders and h. Raises CodecFault when a value cannot be kept."""
        inputs, decision = frame.inputs, frame.decision
        seen = decision.seen
        if isinstance(frame.sweep, Sweep):
            shape, raw = SWEEP, pack(frame.sweep)
        else:
            shape, raw = READINGS, packed(Readings(inputs.units, inputs.instruments))
        return (
            frame.number,
            nanoseconds(frame.wall_s),
            _real(inputs.now_s),
            _real(inputs.dt_s),
            _real(decision.state.target_kw),
            _real(seen.delivered_kw),
            _real(seen.source_kw),
            _real(seen.volts_v),
            _real(seen.hertz),
            hottest_c(inputs.units),
            units_heard(inputs.units),
            shape,
            raw,
            _real(frame.spread_s),
            words(frame.fault) or None,
            state_digest(decision.state),
        )

    def rest(self, inputs: Inputs) -> bytes:
        """The packed rest of the inputs. Raises CodecFault."""
        rest = Rest.of(inputs)
        if (
            rest.commands or rest.clock_stepped_s or rest.stood_still_s
        ):  # rare; and 0.0 and -0.0 are equal, not the same
            return packed(rest)
        return self._once(rest)

    def orders(self, orders: Orders) -> bytes:
        """Packed orders. Raises CodecFault."""
        return self._once(orders)

    def _once(self, value: Hashable) -> bytes:
        data = self._known.get(value)
        if data is None:
            if len(self._known) >= KNOWN:
                self._known.clear()
            data = self._known[value] = packed(value)
        return data


def _real(value: Maybe) -> Maybe:
    """A double as SQLite keeps it: there is no negative zero in it."""
    return None if value is None else float(value) + 0.0


def hottest_c(units: Sequence[UnitReading]) -> Maybe:
    """The hottest exhaust heard in a scan, or None."""
    exhaust_c = [u.exhaust_c for u in units if u.exhaust_c is not None]
    return _real(max(exhaust_c)) if exhaust_c else None


def units_heard(units: Sequence[UnitReading]) -> int:
    """How many units themselves were heard in a scan."""
    return sum([u.outcome is Outcome.OK or u.outcome.answered for u in units])


def event_row(frame: Frame, event: Event) -> tuple[Any, ...]:
    """The row of `event` without its number and h. Raises CodecFault when its data cannot be kept."""
    data = compact(plain(event.data, tuple[tuple[str, Any], ...]))
    return (
        frame.number,
        nanoseconds(frame.wall_s),
        _real(frame.inputs.now_s),
        words(event.kind),
        event.unit,
        words(event.who),
        words(event.text),
        data,
    )


def inputs_of(site: Site, row: dict[str, Any]) -> Inputs:
    """The inputs that a row of `scan` was made from. Raises ValueError, zlib.error when it is damaged."""
    rest: Rest = shared(Rest, row["rest"])
    if row["shape"] == SWEEP:
        units, instruments = readings(site, unpack(site, row["raw"]))
    else:
        heard: Readings = unpacked(Readings, row["raw"])
        units, instruments = heard.units, heard.instruments
    return Inputs(
        row["now_s"],
        row["dt_s"],
        units,
        instruments,
        rest.commands,
        rest.writes,
        rest.recorder,
        rest.clock_stepped_s,
        rest.cut_short,
        rest.attached,
        rest.stood_still_s,
        rest.consoles,
    )
