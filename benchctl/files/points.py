"""Rows of a register map in a profile's file → the map of `core/registers.py`.

Addresses are read in the base that the profile states and kept zero-based; missing-value patterns are
written as one number (0x80000000) and kept as the words that the wire carries; `unit: W` at a quantity in
kW becomes a scale.
"""

from collections.abc import Mapping
from itertools import pairwise
from math import isfinite

from benchctl.core.quantities import BY_NAME
from benchctl.core.registers import Kind, Order, Point, RegisterMap, Space, Span
from benchctl.files.check import Report
from benchctl.files.fault import nearest, quoted
from benchctl.files.rows import FIGURES, MODICON, PLACE, SPAN, UNITS, Link, Row, wire_words
from benchctl.files.tree import Path, resolve


class Reader:
    """Turns rows into points; flaws go to the report."""

    def __init__(self, report: Report, link: Link) -> None:
        self.report, self.link = report, link
        self.base = 0 if link.addresses == "zero based" else 1

    def place(self, text: str, path: Path) -> tuple[Space, int, int | None] | None:
        """Space, zero-based address and bit of `holding 12.4` or 40013.4."""
        modicon = self.link.addresses == "modicon 40001"
        found = (FIGURES if modicon else PLACE).fullmatch(text)
        example = "40013 or 40013.4" if modicon else "holding 12, input 30.4 or coil 5"
        if not found:
            self.report.at(path, f"{quoted(text)} is no address, expected for instance {example}")
            return None
        space = MODICON[found[1]] if modicon else Space(found[1])
        address, bit = int(found[2]) - self.base, int(found[3]) if found[3] else None
        if not 0 <= address <= 0xFFFF:
            self.report.at(
                path,
                f"{quoted(text)}: addresses run from {self.base} to {65535 + self.base} here",
            )
        elif bit is not None and (space.bits or bit > 15):
            self.report.at(path, f"{quoted(text)}: only registers have bits, 0 to 15")
        else:
            return space, address, bit
        return None

    def bit(self, name: str, text: str, path: Path, write: int | None = None, inverted: bool = False) -> Point | None:
        """A single bit: a coil, a discrete input or one bit of a register."""
        place = self.place(text, path)
        if place is None:
            return None
        space, address, bit = place
        if not space.bits and bit is None:
            self.report.at(path, f"{quoted(text)} is a whole register; name one bit of it, such as {text}.0")
            return None
        return Point(name, space, address, Kind.BIT, bit=bit, write_function=write, inverted=inverted)

    def point(self, name: str, row: Row, path: Path) -> Point | None:
        """One row as a point, or None after telling what is wrong with it."""
        place = self.place(row.at, (*path, "at"))
        if place is None:
            return None
        space, address, bit = place
        kind = self._kind(row, space, bit, path)
        factor = self._factor(name, row, path)
        if kind is None or factor is None or not self._writable(row, space, kind, path):
            return None
        low, high = row.range or (None, None)
        if low is not None and high is not None and low >= high:
            self.report.at((*path, "range"), f"the range {low:g} to {high:g} is empty; the lower end comes first")
        order = Order(row.order or self.link.order)
        point = Point(
            name,
            space,
            address,
            kind,
            order,
            row.length or 0,
            bit,
            row.inverted,
            scale=row.scale * factor * (-1 if row.negative else 1),
            offset=row.offset * factor,
            scale_from=row.scale_from,
            minimum=None if low is None else low * factor,
            maximum=None if high is None else high * factor,
            missing=self._missing(row, kind, order, path),
            expect=self._expect(row, kind, path),
            once=row.once or row.expect is not None,
            write_function=row.write,
            nonvolatile=row.nonvolatile,
        )
        if point.end > 0x10000:
            self.report.at((*path, "at"), f"{quoted(row.at)}: the value ends after the last address")
            return None
        return point

    def _kind(self, row: Row, space: Space, bit: int | None, path: Path) -> Kind | None:
        single = space.bits or bit is not None
        if single and row.type not in (None, "bit"):
            self.report.at((*path, "type"), f"found '{row.type}', but {row.at} is a single bit")
        elif not single and row.type in (None, "bit"):
            self.report.at(
                (*path, "at"),
                f"{row.at} is a register: say its type (uint16, int32, float32 …) or a bit of it",
            )
        elif row.inverted and not single:
            self.report.at((*path, "inverted"), f"only a single bit can be inverted, and {row.at} is none", key=True)
        elif (row.type == "text") != (row.length is not None):
            self.report.at(path, "a text needs its length in registers, and nothing else has one")
        else:
            return Kind.BIT if single else Kind(row.type)
        return None

    def _factor(self, name: str, row: Row, path: Path) -> float | None:
        core = BY_NAME[name].unit if name in BY_NAME else ""
        unit = {"°C": "degC"}.get(row.unit or core, row.unit or core)
        if unit == core:
            return 1.0
        factor = UNITS.get((unit, core))
        if factor is None:
            known = [core or "none", *(a for a, b in UNITS if b == core)]
            self.report.at((*path, "unit"), f"found {quoted(unit)}, but {name} is in: {', '.join(known)}")
        return factor

    def _writable(self, row: Row, space: Space, kind: Kind, path: Path) -> bool:
        good = {Space.COIL: (5, 15), Space.HOLDING: (6, 16) if kind.words == 1 else (16,)}.get(space, ())
        if row.write is None or (row.write in good and kind is not Kind.TEXT and "." not in row.at):
            return True
        self.report.at(
            (*path, "write"),
            f"function {row.write} cannot write {row.at} as {kind.value}"
            + (f", expected {' or '.join(map(str, good))}" if good else "; it can only be read"),
        )
        return False

    def _expect(self, row: Row, kind: Kind, path: Path) -> float | str | None:
        if row.expect is None or kind is Kind.TEXT:
            return row.expect
        value = resolve(row.expect)
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not isfinite(value):
            self.report.at(
                (*path, "expect"),
                f"found {quoted(row.expect)}, expected a number: the point is a {kind.value}",
            )
            return None
        return float(value)

    def _missing(self, row: Row, kind: Kind, order: Order, path: Path) -> tuple[tuple[int, ...], ...]:
        own = row.missing is not None
        patterns = row.missing if row.missing is not None else self.link.missing.get(kind.value, [])
        limit = 0 if kind in (Kind.BIT, Kind.TEXT) else 1 << 16 * kind.words
        for i, value in enumerate(patterns):
            if value >= limit:
                where: Path = (*path, "missing", i) if own else ("link", "missing", kind.value, i)
                self.report.at(where, f"{value:#x} does not fit a {kind.value}")
                return ()
        return tuple(wire_words(value, kind, order) for value in patterns)

    def spans(self) -> tuple[Span, ...]:
        """The ranges that may be read across."""
        spans = []
        for i, text in enumerate(self.link.readable):
            path: Path = ("link", "readable", i)
            found = SPAN.fullmatch(text)
            if not found:
                self.report.at(path, f"{quoted(text)} is no range, expected for instance 'input 0-59'")
                continue
            first, last = int(found[2]) - self.base, int(found[3]) - self.base
            if not 0 <= first <= last <= 0xFFFF:
                self.report.at(path, f"{quoted(text)}: the first address comes first, both within {self.base} to 65535")
                continue
            spans.append(Span(Space(found[1]), first, last))
        return tuple(spans)


def register_map(reader: Reader, rows: Mapping[str, Row], known: list[Row], role: str) -> RegisterMap:
    """All rows as a map. Tells unknown names, names of another role, missing scale factors and overlaps."""
    report, points, seen = reader.report, [], []
    for name, row in rows.items():
        path: Path = ("points", name)
        if name not in BY_NAME or role not in BY_NAME[name].roles:
            fits = [q.name for q in BY_NAME.values() if role in q.roles]
            report.at(path, f"{quoted(name)} is no quantity of a {role}{nearest(name, fits)}", key=True)
            continue
        if row.scale_from is not None and (row.scale_from not in rows or not row.scale_from.endswith("_sf")):
            factors = [n for n in rows if n.endswith("_sf")]
            report.at(
                (*path, "scale_from"),
                f"{quoted(row.scale_from)} is no scale factor here{nearest(row.scale_from, factors)}",
            )
        point = reader.point(name, row, path)
        if point:
            points.append(point)
            seen.append((point, path))
    for i, row in enumerate(known):
        if row.expect is None:
            report.at(("known", i), "a known value says what it must read as: key 'expect' is missing here")
        point = reader.point("known_value", row, ("known", i))
        if point:
            points.append(point)
            seen.append((point, ("known", i)))
    _no_overlaps(report, seen)
    link = reader.link
    return RegisterMap(
        tuple(points),
        reader.spans(),
        link.max_registers,
        link.max_bits,
        link.gap,
        link.turnaround,
        link.timeout,
    )


def _no_overlaps(report: Report, seen: list[tuple[Point, Path]]) -> None:
    """Two values that share a register are an off-by-one in the map; bits of one register may."""
    ordered = sorted(seen, key=lambda pair: (pair[0].space.value, pair[0].address, pair[0].end))
    for (first, _), (second, path) in pairwise(ordered):
        bits = first.kind is Kind.BIT or second.kind is Kind.BIT
        if first.space is second.space and second.address < first.end and not bits:
            report.at((*path, "at"), f"{second.name} shares a register with {first.name}: is an address off by one?")
