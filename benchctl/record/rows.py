"""A frame as a row of the record, and back: what is kept of a scan, and how it is packed.

`raw` holds what the wire said: the packed sweep (shape "sweep"), or, in a run that has no bytes, the readings as JSON
(shape "readings"). `rest` holds everything else of the inputs. `orders` holds what was decided. All are zlib streams.
Orders and the rest are mostly those of the scan before, and are then packed once.
"""

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from benchctl.core.command import Command
from benchctl.core.decision import Event, Frame
from benchctl.core.inputs import Inputs, Recorder
from benchctl.core.orders import Orders, UnitWrites
from benchctl.core.reading import InstrumentReading, Maybe, UnitReading
from benchctl.core.site import Site
from benchctl.field.sweep import Sweep, pack, readings, unpack
from benchctl.record.codec import compact, noun, plain
from benchctl.record.digest import state_digest

SWEEP, READINGS = "sweep", "readings"
NS = 1_000_000_000


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


def packed(value: Any, kind: Any = None) -> bytes:
    """A noun as a zlib stream of its JSON."""
    return _squeezed(compact(plain(value, kind)).encode())


def _squeezed(data: bytes) -> bytes:
    return zlib.compress(data, 1, wbits=13)  # a window of 8 kB holds a scan, and costs half the time of 32 kB to set up


def unpacked(kind: type[Any], data: bytes) -> Any:
    """The noun back. Raises ValueError, zlib.error."""
    return noun(kind, json.loads(zlib.decompress(data)))


def words(text: str) -> str:
    """Text that SQLite can hold whatever a device or a person sent: lone surrogates become question marks."""
    return text if text.isascii() else text.encode("utf-8", "replace").decode("utf-8")


def nanoseconds(wall_s: float) -> int:
    """A wall clock's double as whole microseconds, told in nanoseconds: today's doubles hold no more."""
    return round(wall_s * 1e6) * 1000


class Packer:
    """Makes rows of frames; remembers the last orders and the last rest."""

    def __init__(self) -> None:
        self._orders: tuple[Orders | None, bytes] = (None, b"")
        self._rest: tuple[Rest | None, bytes] = (None, b"")

    def scan(self, frame: Frame) -> tuple[Any, ...]:
        """The row of `scan` without h. Raises CodecFault when a value cannot be kept."""
        inputs, decision = frame.inputs, frame.decision
        seen = decision.seen
        if self._orders[0] != decision.orders:
            self._orders = (decision.orders, packed(decision.orders))
        rest = Rest(inputs.commands, inputs.writes, inputs.recorder, inputs.clock_stepped_s, inputs.cut_short)
        if self._rest[0] != rest:
            self._rest = (rest, packed(rest))
        if isinstance(frame.sweep, Sweep):
            shape, raw = SWEEP, _squeezed(pack(frame.sweep))
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
            sum(u.outcome.answered for u in inputs.units),
            shape,
            raw,
            self._rest[1],
            self._orders[1],
            _real(frame.spread_s),
            words(frame.fault) or None,
            state_digest(decision.state),
        )


def _real(value: Maybe) -> Maybe:
    """A double as SQLite keeps it: there is no negative zero in it."""
    return None if value is None else float(value) + 0.0


def hottest_c(units: Sequence[UnitReading]) -> Maybe:
    """The hottest exhaust heard in a scan, or None."""
    return max((float(u.exhaust_c) + 0.0 for u in units if u.exhaust_c is not None), default=None)


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
    rest: Rest = unpacked(Rest, row["rest"])
    if row["shape"] == SWEEP:
        units, instruments = readings(site, unpack(site, zlib.decompress(row["raw"])))
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
    )
