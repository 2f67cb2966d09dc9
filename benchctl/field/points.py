"""Which registers to ask for: the fewest blocks that a device will answer. Pure.

A block crosses no address that the register map does not declare (such a hole makes a device answer exception
2, or slide what follows into the hole), never cuts a value of several registers, and keeps to the device's
largest request.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from benchctl.core.profile import Profile
from benchctl.core.registers import Point, RegisterMap, Space

WRITE_ONLY = frozenset({"watchdog_feed"})  # never read, never read across


@dataclass(frozen=True, slots=True)
class Block:
    """One read request: `count` registers or bits of `space` from `first` (zero-based PDU address)."""

    space: Space
    first: int
    count: int

    @property
    def end(self) -> int:
        """First address after the block."""
        return self.first + self.count

    @property
    def words(self) -> int:
        """16-bit words that the answer takes: one a register, or one for every 16 bits."""
        return (self.count + 15) // 16 if self.space.bits else self.count


@dataclass(frozen=True, slots=True)
class Plan:
    """All blocks of a device, by how often they are read.

    The first `each` are read in every scan, but those of them whose index is in `echoes`, which only repeat our own
    orders, every few seconds and after each write. The rest is read at contact and each minute.

    points: every point read, in the order given; values: per block the (first, end) addresses of its values.
    """

    points: tuple[Point, ...]
    blocks: tuple[Block, ...]
    each: int
    values: tuple[tuple[tuple[int, int], ...], ...]
    echoes: tuple[int, ...] = ()

    @property
    def always(self) -> tuple[int, ...]:
        """Indices of the blocks that every scan asks for."""
        return tuple(i for i in range(self.each) if i not in self.echoes)

    def place(self, point: Point) -> tuple[int, int]:
        """(block index, offset in it) of a point. Raises KeyError when the plan does not read it."""
        for index, block in enumerate(self.blocks):
            if _holds(block, point):
                return index, point.address - block.first
        raise KeyError(point.name)


def plan_reads(registers: RegisterMap, points: Iterable[Point]) -> tuple[Block, ...]:
    """The fewest blocks that hold every one of the points whole, by space and address.

    Each block takes as many of the next points as fit: optimal, because a part of an allowed block is allowed.
    A single point longer than the device's largest request gets a block of its own length.
    """
    wanted = list(points)
    blocks: list[Block] = []
    for space in Space:
        here = sorted({(p.address, p.end) for p in wanted if p.space is space})
        if not here:
            continue
        declared = _declared(registers, space, here)
        most = registers.max_bits if space.bits else registers.max_registers
        first, end = here[0]
        for start, stop in here[1:]:
            reach = max(end, stop)
            if reach - first <= most and _all_declared(declared, end, start):
                end = reach
            else:
                blocks.append(Block(space, first, end - first))
                first, end = start, stop
        blocks.append(Block(space, first, end - first))
    return tuple(blocks)


def plan_device(registers: RegisterMap, points: Iterable[Point], echoes: Collection[Point] = ()) -> Plan:
    """The plan of a device with these points. Scale factors of values read each scan are read each scan.

    echoes: points that only repeat our own orders; a block of nothing else need not be read in every scan.
    """
    read = tuple(p for p in points if p.name not in WRITE_ONLY)
    factors = {p.scale_from for p in read if p.scale_from and not p.once}
    each = plan_reads(registers, [p for p in read if not p.once or p.name in factors])
    # What lies in a block of every scan anyhow needs no block of its own.
    once = plan_reads(registers, [p for p in read if not any(_holds(b, p) for b in each)])
    blocks = each + once
    echoing = tuple(i for i, b in enumerate(each) if all(p in echoes for p in read if _holds(b, p)))
    values = tuple(tuple(sorted({(p.address, p.end) for p in read if _holds(b, p)})) for b in blocks)
    return Plan(read, blocks, len(each), values, () if len(echoing) == len(each) else echoing)


def _holds(block: Block, point: Point) -> bool:
    """True when the whole point lies in the block."""
    return block.space is point.space and block.first <= point.address and point.end <= block.end


def unit_points(profile: Profile) -> tuple[Point, ...]:
    """Every point of a unit profile: registers, orders and feedbacks of the stages, fault bits."""
    stages = [p for s in profile.stages for p in (s.order, s.feedback) if p is not None]
    return (*profile.registers.points, *stages, *(f.point for f in profile.faults))


def echo_points(profile: Profile) -> tuple[Point, ...]:
    """Points of a unit that repeat our own orders while something else reads back what became of them."""
    point = profile.registers.point
    proven = (
        (point("fan_order"), True),
        (point("stages_order"), True),
        (point("setpoint_kw"), point("setpoint_in_force_kw") is not None),
        *((s.order, s.feedback is not None or point("stages_closed") is not None) for s in profile.stages),
    )
    return tuple(p for p, elsewhere in proven if p is not None and elsewhere)


def _declared(registers: RegisterMap, space: Space, here: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Runs of addresses [first, end) that may be read across, merged and sorted."""
    runs = here + [(p.address, p.end) for p in registers.points if p.space is space and p.name not in WRITE_ONLY]
    runs += [(s.first, s.last + 1) for s in registers.readable if s.space is space]
    merged: list[tuple[int, int]] = []
    for first, end in sorted(runs):
        if merged and first <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((first, end))
    return merged


def _all_declared(runs: list[tuple[int, int]], first: int, end: int) -> bool:
    """True when no address of [first, end) is undeclared."""
    return first >= end or any(a <= first and end <= b for a, b in runs)
