"""The first page: the chain's figures, the source's, and a row a bank.

Commanded, read back and measured stand apart; what is old is in parentheses; what is not known is a dash.
"""

from collections.abc import Callable
from dataclasses import dataclass

from benchctl.core.shown import SourceShown, UnitShown
from benchctl.electrical.unbalance import nema_percent
from benchctl.tui.view.picture import Picture
from benchctl.tui.view.text import MISSING, Line, Mark, Span, age, fit, minutes, number

STALE_S = 2.0  # a bank's values older than this are shown as old

# A shape beside each word for the condition of a bank; what the words mean stands in core/snapshot.py.
SHAPES: dict[str, tuple[str, Mark]] = {
    "not met": ("?", Mark.ABNORMAL),
    "lost": ("×", Mark.FAULTY),
    "stale": ("~", Mark.ABNORMAL),
    "swapped": ("×", Mark.FAULTY),
    "stopped": ("×", Mark.FAULTY),
    "stuck closed": ("×", Mark.FAULTY),
    "found on": ("▲", Mark.MANDATORY),
    "tripped": ("×", Mark.FAULTY),
    "local": ("▲", Mark.ABNORMAL),
    "changed": ("▲", Mark.ABNORMAL),
    "loaded": ("■", Mark.STRONG),
    "cooling": ("◆", Mark.PLAIN),
    "hot": ("▲", Mark.ABNORMAL),
    "off": ("·", Mark.QUIET),
    "ready": ("□", Mark.PLAIN),
    "not ready": ("○", Mark.QUIET),
}
UNKNOWN = ("?", Mark.ABNORMAL)


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    now = picture.now
    if now is None:
        return _waiting(picture)
    lines = [*_chain(picture, width), *_source(picture, width), ()]
    rows = height - len(lines) - 1
    columns = _columns(width)
    head = [(fit("   bank", NAME + 1), Mark.QUIET)]
    lines.append((*head, *((fit(c.head, wide, right=c.right) + " ", Mark.QUIET) for c, wide in columns)))
    units = now.units
    first = visible(picture.cursor.bank, len(units), rows)
    for index, unit in enumerate(units[first : first + rows], first):
        lines.append(_row(picture, unit, columns, at_cursor=index == picture.cursor.bank))
    return lines


def visible(cursor: int, count: int, rows: int) -> int:
    """The first of `count` rows that is shown when so many fit and the cursor must be among them."""
    if count <= rows or rows <= 0:
        return 0
    return min(max(0, cursor - rows // 2), count - rows)


def _waiting(picture: Picture) -> list[Line]:
    rated = sum(b.rated_kw for b in picture.place.banks)
    lines: list[Line] = [()]
    if rated:
        lines.append(((f"  {len(picture.place.banks)} banks, {rated:.0f} kW at rated volts", Mark.STRONG),))
    lines.append(((f"  {picture.starting or 'waiting for the first scan'}", Mark.QUIET),))
    return lines


def _chain(picture: Picture, width: int) -> list[Line]:
    now, old = picture.now, picture.old
    assert now is not None

    def kw(value: float | None, wide: int = 8) -> str:
        return number(value, wide, 1, "kW", old=old)

    left: list[Span] = [(" target", Mark.QUIET), (kw(now.target_kw, 11), Mark.STRONG)]
    left += [("  delivered", Mark.QUIET), (kw(now.delivered_kw, 11), Mark.STRONG)]
    left += [("  read back", Mark.QUIET), (kw(now.read_back_kw, 11), _read_back_mark(picture))]
    if now.cool_down_s > 0.0 or now.source_cool_down_s > 0.0:
        left += [
            ("  cool-down", Mark.QUIET),
            (f" {minutes(max(now.cool_down_s, now.source_cool_down_s))}", Mark.STRONG),
        ]
    elif now.program_to_go_s is not None:
        left += [("  to go", Mark.QUIET), (f" {minutes(now.program_to_go_s)}", Mark.STRONG)]
    second: list[Span] = [("  limit", Mark.QUIET), (kw(now.ceiling_kw, 11), Mark.PLAIN)]
    second += [("     margin", Mark.QUIET), (kw(now.margin_kw, 11), Mark.PLAIN)]
    second += [("  available", Mark.QUIET), (kw(now.available_kw, 11), Mark.PLAIN)]
    second += [("  of", Mark.QUIET), (f"{kw(now.rated_kw, 10)} rated", Mark.QUIET)]
    return [tuple(left), tuple(second)]


def _read_back_mark(picture: Picture) -> Mark:
    now = picture.now
    assert now is not None
    return Mark.PLAIN if now.read_back_units == len(now.units) else Mark.ABNORMAL


def _source(picture: Picture, width: int) -> list[Line]:
    now = picture.now
    assert now is not None
    s: SourceShown = now.source
    old = picture.old or s.frozen or (s.age_s or 0.0) > STALE_S
    pairs = s.volts_ll if any(v is not None for v in s.volts_ll) else s.volts_ln
    volts = [(number(v, 8 if old else 6, 1 if width >= 100 else 0, old=old), Mark.PLAIN) for v in pairs]
    amps = [(number(v, 8 if old else 6, 0, old=old), Mark.PLAIN) for v in s.amps]
    first: list[Span] = [
        (" source", Mark.QUIET),
        (number(s.power_kw, 11, 1, "kW", old=old), Mark.STRONG),
        (" ", Mark.PLAIN),
    ]
    first += [*volts, (" V ", Mark.QUIET), *amps, (" A ", Mark.QUIET)]
    first += [(number(s.hertz, 9 if old else 7, 2, old=old), Mark.STRONG), (" Hz", Mark.QUIET)]
    known = [a for a in s.amps if a is not None]
    uneven = nema_percent(known) if len(known) == 3 and min(known) >= 0.0 and sum(known) > 1.0 else None
    second: list[Span] = [("   site", Mark.QUIET), (number(s.site_kw, 11, 1, "kW", old=old), Mark.PLAIN)]
    second += [("  unbalance", Mark.QUIET), (number(uneven, 9, 1, "%", old=old), Mark.PLAIN)]
    second += [("  power factor", Mark.QUIET), (number(s.power_factor, 7, 2, old=old), Mark.PLAIN)]
    second += [("  energy", Mark.QUIET), (number(now.energy_kwh, 11, 1, "kWh", old=picture.old), Mark.PLAIN)]
    return [tuple(first), tuple(second)]


Cell = Callable[[UnitShown, int, bool], Span]  # of a bank, in so many cells, old or not


@dataclass(frozen=True, slots=True)
class Column:
    """A column of the banks' table. least: the width of the window from which on it is shown; width 0 = the rest."""

    head: str
    width: int
    cell: Cell
    right: bool = True
    least: int = 0


def _figure(
    of: Callable[[UnitShown], float | None], decimals: int = 1, unit: str = "", mark: Mark = Mark.PLAIN
) -> Cell:
    return lambda u, wide, old: (number(of(u), wide, decimals, unit, old=old), mark)


def _state(u: UnitShown, wide: int, old: bool) -> Span:
    return fit(u.condition, wide), SHAPES.get(u.condition, UNKNOWN)[1]


def _stages(u: UnitShown, wide: int, old: bool) -> Span:
    text = "set pt" if u.stages == 0 else MISSING if u.closed is None else f"{len(u.closed)}/{u.stages}"
    return fit(f"({text})" if old and u.closed is not None else text, wide, right=True), Mark.PLAIN


def _fan(u: UnitShown, wide: int, old: bool) -> Span:
    mark = Mark.ABNORMAL if u.fan_ordered and u.fan_on is False else Mark.PLAIN
    return fit(_yes(u.fan_on, "on", "off"), wide), mark


def _air(u: UnitShown, wide: int, old: bool) -> Span:
    mark = Mark.ABNORMAL if u.fan_on is True and u.airflow is False else Mark.PLAIN
    return fit(_yes(u.airflow, "yes", "no"), wide), mark


def _age(u: UnitShown, wide: int, old: bool) -> Span:
    return fit(age(u.age_s), wide, right=True), Mark.ABNORMAL if old else Mark.QUIET


def _cool(u: UnitShown, wide: int, old: bool) -> Span:
    return fit(minutes(u.cool_down_s) if u.cool_down_s else "", wide, right=True), Mark.PLAIN


def _why(u: UnitShown, wide: int, old: bool) -> Span:
    return fit("; ".join(filter(None, (*u.faults, u.unable))), wide), Mark.QUIET


def _yes(value: bool | None, yes: str, no: str) -> str:
    return MISSING if value is None else yes if value else no


COLUMNS: tuple[Column, ...] = (
    Column("state", 12, _state, right=False),
    Column("ordered", 7, _figure(lambda u: u.commanded_kw)),
    Column("readback", 8, _figure(lambda u: u.read_back_kw)),
    Column("measured", 8, _figure(lambda u: u.measured_kw, mark=Mark.STRONG)),
    Column("stages", 6, _stages),
    Column("exhaust", 7, _figure(lambda u: u.exhaust_c, 0, "°C")),
    Column("fan", 3, _fan, right=False),
    Column("air", 3, _air, right=False),
    Column("age", 6, _age),
    Column("cool-down", 9, _cool, least=92),
    Column("rated", 6, _figure(lambda u: u.rated_kw, 0, mark=Mark.QUIET), least=100),
    Column("inlet", 6, _figure(lambda u: u.inlet_c, 0, "°C"), least=108),
    Column("possible", 8, _figure(lambda u: u.possible_kw, mark=Mark.QUIET), least=118),
    Column("why", 0, _why, right=False, least=126),
)
NAME = 11  # cells of a bank's name and its shape, before all columns


def _columns(width: int) -> list[tuple[Column, int]]:
    """What is shown in a window of this width, and how wide each."""
    shown = [c for c in COLUMNS if c.least <= width]
    rest = width - NAME - 1 - sum(c.width + 1 for c in shown)
    return [(c, c.width or max(3, rest)) for c in shown]


def _row(picture: Picture, u: UnitShown, columns: list[tuple[Column, int]], *, at_cursor: bool) -> Line:
    old = picture.old or u.age_s is None or u.age_s > STALE_S
    shape, mark = SHAPES.get(u.condition, UNKNOWN)
    if picture.glyphs == "ascii":
        shape = ASCII.get(shape, shape)
    name = fit(f"{'>' if at_cursor else ' '}{shape} {u.name}", NAME)
    spans: list[Span] = [(name, Mark.CURSOR if at_cursor else mark), (" ", Mark.PLAIN)]
    for column, wide in columns:
        text, how = column.cell(u, wide, old)
        spans += [(text, Mark.OLD if old and how in (Mark.PLAIN, Mark.STRONG) else how), (" ", Mark.PLAIN)]
    return tuple(spans)


ASCII = {"×": "X", "▲": "!", "■": "#", "◆": "%", "·": ".", "□": "o", "○": "-"}
