"""The first page: the chain's figures, the source's, and a row a bank.

Commanded, read back and measured stand apart; what is old is in parentheses; what is not known is a dash.
"""

from collections.abc import Callable
from dataclasses import dataclass

from benchctl.core.shown import SourceShown, UnitShown
from benchctl.electrical.unbalance import nema_percent
from benchctl.tui.view.picture import STALE_S, Picture
from benchctl.tui.view.scrolled import visible
from benchctl.tui.view.text import MISSING, Line, Mark, Span, age, fit, minutes, number, wrap

# A shape beside each word for the condition of a bank; what the words mean stands in core/unit_condition.py.
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
    "to be cooled": ("◇", Mark.PLAIN),
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
        return _waiting(picture, width)
    lines = [*_chain(picture), *_source(picture, width), *_course(picture), ()]
    rows = height - len(lines) - 1
    columns = _columns(width)
    heads = " ".join(fit(c.head, wide, right=c.right) for c, wide in columns)
    lines.append(((f"{fit('   bank', NAME)} {heads}", Mark.QUIET),))
    units = now.units
    first = visible(picture.cursor.bank, len(units), rows)
    for index, unit in enumerate(units[first : first + rows], first):
        lines.append(_row(picture, unit, columns, at_cursor=index == picture.cursor.bank))
    return lines


def _waiting(picture: Picture, width: int) -> list[Line]:
    """Before the first scan: what the site has, and what is being waited for."""
    rated_kw = sum(b.rated_kw for b in picture.place.banks)
    lines: list[Line] = [()]
    if rated_kw:
        lines.append(((f"  {len(picture.place.banks)} banks, {rated_kw:.0f} kW at rated volts", Mark.STRONG),))
    nothing = (Figure(name, number(None, VALUED, 1, "kW")) for name in ("target", "delivered", "read back", "ordered"))
    lines = [*_block((tuple(nothing),)), *lines]
    said = picture.lost or picture.starting or "waiting for the first scan"
    return [*lines, *(((f"  {part}", Mark.PLAIN),) for part in wrap(said, max(10, width - 4)))]


@dataclass(frozen=True, slots=True)
class Figure:
    """A named value in the block of figures, as wide as its neighbours above and below."""

    name: str
    text: str
    mark: Mark = Mark.PLAIN


NAMED, VALUED = 10, 10  # cells of a name and of a value; four of them fill 80 columns


def _block(rows: tuple[tuple[Figure, ...], ...]) -> list[Line]:
    """Figures in columns: names on the right of their cells, values beside them."""
    lines: list[Line] = []
    for row in rows:
        spans: list[Span] = []
        for at, figure in enumerate(row):
            spans.append((fit(figure.name, NAMED - (at == 0), right=True), Mark.QUIET))
            spans.append((fit(figure.text, VALUED, right=True), figure.mark))
        lines.append(tuple(spans))
    return lines


def _chain(picture: Picture) -> list[Line]:
    now, old = picture.now, picture.old
    assert now is not None

    def kw(name: str, value: float | None, mark: Mark = Mark.PLAIN) -> Figure:
        return Figure(name, number(value, VALUED, 1, "kW", old=old), Mark.OLD if old else mark)

    whole = now.read_back_units == len(now.units)
    cool_s = max(now.cool_down_s, now.source_cool_down_s)
    ahead = now.mode in ("checks", "running") or not cool_s
    to_go = ("to go", minutes(now.program_to_go_s)) if ahead else ("cool-down", minutes(cool_s))
    return _block(
        (
            (
                kw("target", now.target_kw, Mark.STRONG),
                kw("delivered", now.delivered_kw, Mark.STRONG),
                kw("read back", now.read_back_kw, Mark.PLAIN if whole else Mark.ABNORMAL),
                kw("ordered", now.commanded_kw),
            ),
            (
                kw("limit", now.ceiling_kw),
                kw("margin", now.margin_kw),
                kw("available", now.available_kw),
                Figure(*to_go, Mark.STRONG),
            ),
        )
    )


def _source(picture: Picture, width: int) -> list[Line]:
    now = picture.now
    assert now is not None
    s: SourceShown = now.source
    old = is_old(picture, s)
    plain, strong = (Mark.OLD, Mark.OLD) if old else (Mark.PLAIN, Mark.STRONG)
    known = [a for a in s.amps if a is not None]
    uneven = nema_percent(known) if len(known) == 3 and min(known) >= 0.0 and sum(known) > 1.0 else None
    block = _block(
        (
            (
                Figure("source", number(s.power_kw, VALUED, 1, "kW", old=old), strong),
                Figure("hertz", number(s.hertz, VALUED, 2, "Hz", old=old), strong),
                Figure("site", number(s.site_kw, VALUED, 1, "kW", old=old), plain),
                Figure("energy", number(now.energy_kwh, VALUED, 1, "kWh", old=picture.old), plain),
            ),
        )
    )
    pairs = s.volts_ll if any(v is not None for v in s.volts_ll) else s.volts_ln
    wide = 9 if width >= 100 else 7 if old else 6
    volts = "".join(number(v, wide, 1 if width >= 100 else 0, old=old) for v in pairs)
    amps = "".join(number(a, wide, 0, old=old) for a in s.amps)
    phases: list[Span] = [
        ("    volts", Mark.QUIET),
        (f"{volts} V", plain),
        ("   amps", Mark.QUIET),
        (f"{amps} A", plain),
    ]
    phases += [("  unbalance", Mark.QUIET), (number(uneven, 7 if old else 8, 1, "%", old=old), plain)]
    if width >= 118:
        phases += [("   power factor", Mark.QUIET), (number(s.power_factor, 7, 2, old=old), plain)]
    return [*block, tuple(phases)]


def _course(picture: Picture) -> list[Line]:
    """Where the program is and what comes next; nothing while none runs."""
    now = picture.now
    assert now is not None
    leg = now.leg
    if leg is None:
        return []
    where = f"{leg.index + 1} of {leg.count}: {leg.label or leg.kind}"
    to_kw = "" if leg.to_kw is None else f" to {leg.to_kw:.0f} kW"
    spans: list[Span] = [("  segment", Mark.QUIET), (f" {where}{to_kw}", Mark.STRONG)]
    spans += [(f", {minutes(leg.to_go_s)} left" if leg.to_go_s is not None else ", waits", Mark.PLAIN)]
    legs = (picture.plan or {}).get("legs", ())
    after = next((row for row in legs if row["number"] == leg.index + 2), None)
    if after is not None:
        spans += [
            ("   then", Mark.QUIET),
            (f" {after['label'] or after['kind']}, {after['target_kw']:.0f} kW", Mark.PLAIN),
        ]
    return [tuple(spans)]


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


def _exhaust(u: UnitShown, wide: int, old: bool) -> Span:
    """Without a space before its unit where that would leave no room for parentheses."""
    if old and u.exhaust_c is not None:
        return f"{number(u.exhaust_c, wide - 2, 0, old=True)}°C", Mark.PLAIN
    return number(u.exhaust_c, wide, 0, "°C"), Mark.PLAIN


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
    Column("exhaust", 7, _exhaust),
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
    rest = width - NAME - sum(c.width + 1 for c in shown)
    return [(c, c.width or max(3, rest)) for c in shown]


def is_old(picture: Picture, told: UnitShown | SourceShown) -> bool:
    """Whether what is shown of a bank or of the source is not of now: the picture is old, or it has not answered.

    What nobody knows the age of may be of any time: it never looks live.
    """
    frozen = isinstance(told, SourceShown) and told.frozen
    return picture.old or frozen or told.age_s is None or told.age_s > STALE_S


def _row(picture: Picture, u: UnitShown, columns: list[tuple[Column, int]], *, at_cursor: bool) -> Line:
    old = is_old(picture, u)
    shape, mark = SHAPES.get(u.condition, UNKNOWN)
    if picture.glyphs == "ascii":
        shape = ASCII.get(shape, shape)
    name = fit(f"{'>' if at_cursor else ' '}{shape} {u.name}", NAME)
    spans: list[Span] = [(name, Mark.CURSOR if at_cursor else mark)]
    for column, wide in columns:
        text, how = column.cell(u, wide, old)
        spans += [(" ", Mark.PLAIN), (text, Mark.OLD if old and how in (Mark.PLAIN, Mark.STRONG) else how)]
    return tuple(spans)


ASCII = {"×": "X", "▲": "!", "■": "#", "◆": "%", "◇": "o", "·": ".", "□": "o", "○": "-"}
