"""The register map of a device as data: what a unit profile's or an instrument profile's registers mean.

Addresses here are always zero-based PDU addresses; files may state another base and are converted when read.
"""

from dataclasses import dataclass, field
from enum import Enum


class Space(Enum):
    """The four Modbus address spaces."""

    COIL = "coil"
    DISCRETE = "discrete"
    HOLDING = "holding"
    INPUT = "input"

    @property
    def bits(self) -> bool:
        """True for the spaces of single bits."""
        return self in (Space.COIL, Space.DISCRETE)


class Kind(Enum):
    """How the words of a point are to be understood."""

    BIT = "bit"  # a coil or discrete input, or one bit of a register (Point.bit)
    UINT16 = "uint16"
    INT16 = "int16"
    UINT32 = "uint32"
    INT32 = "int32"
    UINT64 = "uint64"
    INT64 = "int64"
    FLOAT32 = "float32"
    FLOAT64 = "float64"
    TEXT = "text"  # Point.length registers, two characters each

    @property
    def words(self) -> int:
        """Registers that one value takes (TEXT: see Point.length)."""
        return {"32": 2, "64": 4}.get(self.value[-2:], 1)


class Order(Enum):
    """Order of the bytes A (most significant) to D of a value on the wire; 64-bit values follow the same rule."""

    ABCD = "ABCD"
    CDAB = "CDAB"
    BADC = "BADC"
    DCBA = "DCBA"


@dataclass(frozen=True, slots=True)
class Point:
    """One value of a device.

    `name` is a quantity of `core/quantities.py`. The engineering value is `raw * scale * 10**sf + offset`, where sf
    is the value of the point named by `scale_from` (SunSpec style), in the unit that the quantity has in the core.
    `missing` holds raw word patterns that mean "no valid value"; they are compared before any scaling.
    """

    name: str
    space: Space
    address: int
    kind: Kind
    order: Order = Order.ABCD
    length: int = 0  # registers of a TEXT
    bit: int | None = None  # bit of a register, 0 = least significant
    inverted: bool = False  # the bit is 1 when the thing is not so
    scale: float = 1.0
    offset: float = 0.0
    scale_from: str | None = None
    minimum: float | None = None  # valid range after scaling; outside = invalid
    maximum: float | None = None
    missing: tuple[tuple[int, ...], ...] = ()
    expect: float | str | None = None  # a known value: anything else means a wrong map or a wrong device
    once: bool = False  # read at contact and again each minute, not in each scan
    write_function: int | None = None  # 5, 6, 15 or 16; None = never written
    nonvolatile: bool = False  # wears out when written: written on change only

    @property
    def words(self) -> int:
        """Registers (or bits) that the point takes."""
        return self.length if self.kind is Kind.TEXT else self.kind.words

    @property
    def end(self) -> int:
        """First address after the point."""
        return self.address + self.words


@dataclass(frozen=True, slots=True)
class Span:
    """Addresses `first`..`last` (inclusive) of a space which may be read across, declared by the profile."""

    space: Space
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class RegisterMap:
    """All points of a device and the manners of its link."""

    points: tuple[Point, ...]
    readable: tuple[Span, ...] = ()
    max_registers: int = 125
    max_bits: int = 2000
    gap_s: float = 0.0  # silence that the device needs after each reply
    turnaround_s: float = 0.02  # typical time from request to reply, used for planning
    timeout_s: float | None = None  # None = the default of the kind of link

    def point(self, name: str) -> Point | None:
        """The point with that name, or None."""
        return next((p for p in self.points if p.name == name), None)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A name that a point may carry, with the unit that the core uses for it."""

    name: str
    unit: str
    meaning: str
    roles: tuple[str, ...] = field(default=("unit",))
