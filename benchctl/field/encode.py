"""Orders to one unit → write requests in their groups: openings, fans, closings, watchdog feed. Pure.

Openings are repeated until read back, so they are written whenever the orders say so; what reads back open is left out
only where it spares a request of its own. Closings name exactly the stages that are to close, never one more.
"""

import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from benchctl.core.orders import UnitOrders
from benchctl.core.profile import Profile
from benchctl.core.registers import Point, Space
from benchctl.core.site import Unit
from benchctl.field.answer import Answers, Got
from benchctl.field.decode import loads
from benchctl.field.decoder import Decoder, decode, unit_decoder
from benchctl.field.scalars import LARGEST_FACTOR, to_words

FEED_VALUE = 1
MOST_COILS = 0x7B0  # function 15
LONE_COIL, LONE_REGISTER, COILS, REGISTERS = 5, 6, 15, 16


@dataclass(frozen=True, slots=True)
class Request:
    """One write: function 5, 6, 15 or 16, zero-based address, and the registers or coil states (0, 1) to write."""

    function: int
    address: int
    values: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Writes:
    """The write requests of one unit in one scan. fed: the watchdog is fed by what is there without a feed."""

    openings: tuple[Request, ...] = ()
    fans: tuple[Request, ...] = ()
    closings: tuple[Request, ...] = ()
    feed: tuple[Request, ...] = ()
    fed: bool = False

    def __bool__(self) -> bool:
        """True when there is anything to write."""
        return bool(self.openings or self.fans or self.closings or self.feed)


NOTHING = Writes()


def encode(unit: Unit, orders: UnitOrders, answers: Answers = (), *, all_stages: bool = False) -> Writes:
    """The writes that carry out the orders.

    answers: the unit's of the last sweep, empty when it was not heard; they tell what a register holds beside our bits,
    which coils are already open, and scale factors. all_stages: open every stage not kept, whatever reads back.
    Raises ValueError when a set point does not fit its register.
    """
    if orders.silent:
        return NOTHING
    profile, ready = unit.profile, unit_decoder(unit.profile)
    known = _Known(ready, answers)
    openings: tuple[Request, ...] = ()
    closings: tuple[Request, ...] = ()
    if orders.lower:
        openings = _load(profile, known, orders, orders.keep, opening=True, everything=all_stages)
    fans = _fan(profile, known, orders)
    if orders.raise_to is not None:
        closings = _load(profile, known, orders, orders.raise_to, opening=False, everything=False)
    feed = _feed(profile, known, orders, bool(openings or fans or closings)) if orders.feed else ()
    return Writes(openings, fans, closings, feed, orders.feed and profile.watchdog is not None and not feed)


class _Known:
    """What a unit's registers held at the last sweep."""

    def __init__(self, ready: Decoder, answers: Answers) -> None:
        self.ready, self.answers = ready, answers

    def word(self, point: Point) -> int | None:
        """The register (or coil) at the point's address, or None."""
        try:
            block, offset = self.ready.plan.place(point)
        except KeyError:
            return None
        if block >= len(self.answers):
            return None
        answer = self.answers[block]
        if answer.got is not Got.OK or offset in answer.holes:
            return None
        return answer.words[offset >> 4] >> (offset & 15) & 1 if point.space.bits else answer.words[offset]

    def words(self, point: Point) -> tuple[int, ...] | None:
        """All words of a point of registers, or None where one is not known."""
        block, offset = self.ready.plan.place(point)
        if block >= len(self.answers) or self.answers[block].got is not Got.OK:
            return None
        return self.answers[block].words[offset : offset + point.words]

    def maybe_closed(self, profile: Profile, every: int) -> int:
        """Stages that are ordered or read back closed; all of them when that is not known."""
        if not self.answers:
            return every
        values = decode(self.ready, self.answers).values
        load, order = loads(profile, self.ready, self.answers, values)
        return every if load is None or order is None else load | order

    def power_of_ten(self, profile: Profile, point: Point) -> float:
        """10 to the scale factor of a point. Raises ValueError when it has one that is not known."""
        if point.scale_from is None:
            return 1.0
        source = profile.registers.point(point.scale_from)
        raw = self.word(source) if source else None
        if raw is None or LARGEST_FACTOR < raw < 0x10000 - LARGEST_FACTOR:
            raise ValueError(f"{point.name}: its scale factor {point.scale_from} is not known, so nothing is written")
        return 10.0 ** (raw - 0x10000 if raw & 0x8000 else raw)


def _load(
    profile: Profile,
    known: _Known,
    orders: UnitOrders,
    load: int,
    *,
    opening: bool,
    everything: bool,
) -> tuple[Request, ...]:
    """Requests that bring a unit to a load: by set point, by mask register, or stage by stage."""
    registers = profile.registers
    if profile.setpoint is not None:
        point = registers.point("setpoint_kw")
        kw = load * profile.setpoint.resolution_kw
        return () if point is None else _value(profile, known, point, kw)
    mask = registers.point("stages_order")
    if mask is not None and mask.write_function is not None:
        return _value(profile, known, mask, load)
    every = (1 << len(profile.stages)) - 1
    if opening:
        changing = every & ~load
        if not everything:
            changing &= known.maybe_closed(profile, every)
    else:
        changing = load & ~orders.keep
    coils, points = _stage_coils(profile, changing, not opening)
    return (*coils, *_registers(known, points, not opening, _fan_bit(profile, known, orders))) if points else coils


@lru_cache(maxsize=1 << 12)
def _stage_coils(profile: Profile, changing: int, state: bool) -> tuple[tuple[Request, ...], tuple[Point, ...]]:
    """Requests for the stages that are coils, made once: a drop has to be quick; and points of those that are not."""
    points = [s.order for i, s in enumerate(profile.stages) if changing >> i & 1 and s.order is not None]
    return _coils(points, state), tuple([p for p in points if not p.space.bits])


def _fan_bit(profile: Profile, known: _Known, orders: UnitOrders) -> dict[Point, bool]:
    """The fan's order where it is a bit of a register that may also hold stages; on where nothing says otherwise."""
    point = profile.registers.point("fan_order")
    if point is None or point.bit is None or (orders.fan is None and known.word(point) is not None):
        return {}
    return {point: orders.fan is not False}


def _fan(profile: Profile, known: _Known, orders: UnitOrders) -> tuple[Request, ...]:
    """The fan's order, unless it reads back as ordered."""
    point = profile.registers.point("fan_order")
    if orders.fan is None or point is None or point.write_function is None or not profile.fan.controllable:
        return ()
    if point.space.bits or point.bit is not None:
        held = known.word(point)
        if held is not None and (held >> (point.bit or 0) & 1) == int(orders.fan != point.inverted):
            return ()
        return _bits(known, [point], orders.fan, {})
    return (
        () if known.words(point) == _words(point, int(orders.fan)) else _value(profile, known, point, int(orders.fan))
    )


def _feed(profile: Profile, known: _Known, orders: UnitOrders, written: bool) -> tuple[Request, ...]:
    """What feeds the watchdog: its register, or where any write does, one that changes nothing. Reads are no writes."""
    watchdog = profile.watchdog
    if watchdog is None or watchdog.fed_by == "any request" or (watchdog.fed_by == "any write" and written):
        return ()
    point = profile.registers.point("watchdog_feed")
    if point is not None:
        return _value(profile, known, point, FEED_VALUE)
    fan = profile.registers.point("fan_order")
    if orders.fan is not None and fan is not None and fan.write_function is not None and profile.fan.controllable:
        if fan.space.bits or fan.bit is not None:
            return _bits(known, [fan], orders.fan, {})
        return _value(profile, known, fan, int(orders.fan))
    return _load(profile, known, orders, orders.keep, opening=True, everything=True)[:1]


def _value(profile: Profile, known: _Known, point: Point, value: float) -> tuple[Request, ...]:
    """One number to one point. Wearing memory is written only when it holds something else."""
    raw = (value - point.offset) / point.scale / known.power_of_ten(profile, point)
    try:
        words = _words(point, raw)
    except struct.error as fault:
        raise ValueError(f"{point.name}: {value:g} does not fit a {point.kind.value}") from fault
    if point.nonvolatile and known.words(point) == words:
        return ()
    if point.space is Space.COIL:
        return (Request(point.write_function or LONE_COIL, point.address, (int(value != 0),)),)
    function = point.write_function or (LONE_REGISTER if len(words) == 1 else REGISTERS)
    return (Request(function, point.address, words),)


def _words(point: Point, raw: float) -> tuple[int, ...]:
    """The words of a raw value; whole numbers round to the nearest. Raises struct.error when it does not fit."""
    if point.kind.value == "bit":
        return (int(raw != 0),)
    return to_words(point.kind, point.order, raw if point.kind.value.startswith("float") else round(raw))


def _bits(
    known: _Known,
    points: Sequence[Point],
    state: bool,
    others: dict[Point, bool],
) -> tuple[Request, ...]:
    """Requests that bring single bits to a state: coils one by one or in runs, register bits by whole registers."""
    return (*_coils(points, state), *_registers(known, [p for p in points if not p.space.bits], state, others))


def _coils(points: Iterable[Point], state: bool) -> tuple[Request, ...]:
    coils = sorted((p.address, int(state != p.inverted), p.write_function or LONE_COIL) for p in points if p.space.bits)
    lone = [Request(LONE_COIL, a, (v,)) for a, v, function in coils if function == LONE_COIL]
    runs = _runs([(a, v) for a, v, function in coils if function == COILS])
    return (*runs, *lone)


def _runs(coils: Iterable[tuple[int, int]]) -> list[Request]:
    """Neighbouring coils as one request of function 15 each."""
    requests: list[Request] = []
    for address, value in coils:
        last = requests[-1] if requests else None
        if last and last.address + len(last.values) == address and len(last.values) < MOST_COILS:
            requests[-1] = Request(COILS, last.address, (*last.values, value))
        else:
            requests.append(Request(COILS, address, (value,)))
    return requests


def _registers(known: _Known, points: Sequence[Point], state: bool, others: dict[Point, bool]) -> list[Request]:
    """Registers that hold the bits of `points`. Bits that are not ours keep what was read; unread, they are 0."""
    requests = []
    for address in sorted({p.address for p in points}):
        here = [p for p in points if p.address == address]
        word = known.word(here[0]) or 0
        for point, on in [
            *((p, state) for p in here),
            *((p, on) for p, on in others.items() if (p.space, p.address) == (here[0].space, address)),
        ]:
            bit = 1 << (point.bit or 0)
            word = word | bit if on != point.inverted else word & ~bit
        function = REGISTERS if here[0].write_function == REGISTERS else LONE_REGISTER
        requests.append(Request(function, address, (word,)))
    return requests
