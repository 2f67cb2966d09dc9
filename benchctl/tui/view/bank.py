"""Everything of one bank: how it is and why, its figures, its stages, and the words of its registers.

Stages stand above the registers in a narrow window, beside them in a wide one. Up and down move over the stages,
page up and page down over the registers.
"""

from dataclasses import dataclass

from benchctl.core.shown import UnitShown
from benchctl.core.unit_condition import CONDITIONS
from benchctl.tui.view.chain import ASCII, SHAPES, UNKNOWN, is_old
from benchctl.tui.view.picture import STALE_S, BankTold, Picture, Register
from benchctl.tui.view.scrolled import last, part, visible
from benchctl.tui.view.text import MISSING, Line, Mark, Span, age, cells, crop, ends, fit, length, minutes, number, wrap

WIDE = 120  # from here on the registers stand beside the stages
STAGE = 40  # cells of a stage
BITS = ("coil", "discrete")  # tables of single bits
SAYS = {c.word: c.says for c in CONDITIONS}
NOTHING = BankTold("", "", 0.0, "", ())


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    now = picture.now
    if now is None or not now.units:
        return [(), ((f"   {'no bank' if now else 'waiting for the first scan'}", Mark.QUIET),)]
    at = min(picture.cursor.bank, len(now.units) - 1)
    u = now.units[at]
    told = next((b for b in picture.place.banks if b.name == u.name), NOTHING)
    if width >= WIDE:
        return _beside(picture, u, told, width, height)
    above = _above(picture, u, told, width, height)
    return [*above, *_registers(picture, u, width, height - len(above))]


def furthest(picture: Picture, width: int, height: int) -> int:
    """How far the registers can be scrolled."""
    now, found = picture.now, picture.registers
    if now is None or not now.units or found is None:
        return 0
    if width >= WIDE:
        return last(len(found.rows), max(1, height - 2))
    u = now.units[min(picture.cursor.bank, len(now.units) - 1)]
    told = next((b for b in picture.place.banks if b.name == u.name), NOTHING)
    return last(len(found.rows), max(1, height - 1 - len(_above(picture, u, told, width, height))))


def _above(picture: Picture, u: UnitShown, told: BankTold, width: int, height: int) -> list[Line]:
    """All but the registers, in a narrow window."""
    facts = _facts(picture, u, told, width, tight=height < 26)
    facts.append(())
    room = height - len(facts)
    return [*facts, *_stages(picture, u, told, width, max(0, room - max(5, room // 3)))]


def _beside(picture: Picture, u: UnitShown, told: BankTold, width: int, height: int) -> list[Line]:
    half = min(84, width // 2)
    left = [*_facts(picture, u, told, half - 2, tight=False), ()]
    left += _stages(picture, u, told, half - 2, max(0, height - len(left)))
    right = [(), *_registers(picture, u, width - half, height - 1)]
    rows = max(len(left), len(right))
    left += [()] * (rows - len(left))
    right += [()] * (rows - len(right))
    return [(*crop(a, half), *crop(b, width - half)) for a, b in zip(left, right, strict=True)]


# -- the bank


def _facts(picture: Picture, u: UnitShown, told: BankTold, width: int, *, tight: bool) -> list[Line]:
    old = is_old(picture, u)
    shape, mark = SHAPES.get(u.condition, UNKNOWN)
    shape = ASCII.get(shape, shape) if picture.glyphs == "ascii" else shape
    count = len(picture.now.units) if picture.now else 0
    place = min(picture.cursor.bank + 1, count)
    right: Line = ((f" ← {place}/{count} → ", Mark.QUIET),)
    name: Line = (
        (f" {shape} {u.name} ", mark if mark is not Mark.PLAIN else Mark.STRONG),
        (f" {u.condition}", Mark.STRONG),
    )
    says = SAYS.get(u.condition, "a word that is not known")
    beside = length(name) + length(right) + cells(says) + 2 <= width
    lines = [ends((*name, (f": {says}" if beside else "", Mark.PLAIN)), right, width)]
    lines += [] if beside else [((f"   {said}", Mark.PLAIN),) for said in wrap(f"{u.condition}: {says}", width - 4)[:2]]
    lines += _why(picture, u, width)
    lines += [] if tight else [()]
    figures = (
        ("ordered", u.commanded_kw, Mark.PLAIN),
        ("read back", u.read_back_kw, Mark.PLAIN),
        ("measured", u.measured_kw, Mark.STRONG),
        ("possible", u.possible_kw, Mark.PLAIN),
        ("rated", u.rated_kw, Mark.QUIET),
    )
    wide = 13 if width >= 72 else 11
    lines.append((("  ", Mark.PLAIN), *((fit(name, wide, right=True), Mark.QUIET) for name, _, _ in figures)))
    still = {"rated"}
    row = [
        (number(kw, wide, 1, "kW", old=old and name not in still), Mark.OLD if old and name not in still else how)
        for name, kw, how in figures
    ]
    lines.append((("  ", Mark.PLAIN), *row))
    lines += [] if tight else [()]
    lines += _air(u, old, width)
    lines += _nature(picture, u, told, width)
    return lines


def _why(picture: Picture, u: UnitShown, width: int) -> list[Line]:
    """Why no stage may close, and what the bank itself reports."""
    lines: list[Line] = []
    if u.unable:
        lines += [((f"   {said}", Mark.PLAIN),) for said in wrap(f"No stage may close: {u.unable}.", width - 4)[:2]]
    if u.faults:
        said = f"It reports: {'; '.join(u.faults)}."
        sign: Span = (f" {ASCII['×'] if picture.glyphs == 'ascii' else '×'} ", Mark.FAULTY)
        lines += [
            (sign if i == 0 else ("   ", Mark.PLAIN), (line, Mark.STRONG))
            for i, line in enumerate(wrap(said, width - 4)[:2])
        ]
    return lines


def _air(u: UnitShown, old: bool, width: int) -> list[Line]:
    def what(name: str, text: str, mark: Mark = Mark.PLAIN) -> list[Span]:
        return [(f"   {name} ", Mark.QUIET), (text, Mark.OLD if old and mark is Mark.PLAIN else mark)]

    wrong = u.fan_ordered and u.fan_on is False
    fan = f"{'ordered on' if u.fan_ordered else 'not ordered'}, {_told(u.fan_on, 'runs', 'stands')}"
    air = Mark.ABNORMAL if u.fan_on is True and u.airflow is False else Mark.PLAIN
    first = [
        *what("fan", fan, Mark.ABNORMAL if wrong else Mark.PLAIN),
        *what("airflow", _told(u.airflow, "yes", "no"), air),
    ]
    first += what("panel", _told(u.remote, "remote", "LOCAL"), Mark.ABNORMAL if u.remote is False else Mark.PLAIN)
    second = what("exhaust", number(u.exhaust_c, 8, 1, "°C", old=old).strip())
    second += what("inlet", number(u.inlet_c, 8, 1, "°C", old=old).strip())
    second += what("cool-down", minutes(u.cool_down_s) if u.cool_down_s else "none owed")
    stale = u.age_s is None or u.age_s > STALE_S
    heard = what(
        "heard", f"{age(u.age_s)} ago" if u.age_s is not None else "never", Mark.ABNORMAL if stale else Mark.PLAIN
    )
    if width >= 76:
        return [tuple(first), tuple(second + heard)]
    return [tuple(first), tuple(second), tuple(heard)]


def _told(value: bool | None, yes: str, no: str) -> str:
    return MISSING if value is None else yes if value else no


def _nature(picture: Picture, u: UnitShown, told: BankTold, width: int) -> list[Line]:
    """What does not change: type, place, address."""
    words = ["" if u.joined else "not joined", "its load was found on" if u.found else ""]
    words += [told.endpoint and f"at {told.endpoint}", told.position, told.title]
    return [((fit(f"   {' · '.join(filter(None, words))}", max(0, width)), Mark.QUIET),)]


# -- its stages


def _stages(picture: Picture, u: UnitShown, told: BankTold, width: int, height: int) -> list[Line]:
    if height <= 1:
        return []
    if not told.stages:
        step = number(told.step_kw, 8, 1, "kW").strip()
        said = f"   set point in steps of {step}: it chooses its own stages" if told.step_kw else "   no stages known"
        return [((said, Mark.QUIET),), ()][:height]
    rows = height - 2 if height > 4 else height - 1
    columns = 2 if len(told.stages) > rows and width >= 2 * STAGE else 1
    at, count = min(picture.cursor.stage, len(told.stages) - 1), len(told.stages)
    first = visible(at, count, rows * columns)
    rows = min(rows, -(-count // columns))
    head = fit(f"    {fit('stage', 9)}{fit('rated', 8, right=True)}  ordered read back", STAGE)
    more = f"{first + 1} to {first + rows * columns} of {count}" if rows * columns < count else ""
    beside = fit(f" {more}" if more else "", max(0, width - STAGE * columns))
    lines: list[Line] = [((head * columns + beside, Mark.QUIET),)]
    for index in range(first, first + rows):
        beside_it = [_stage(picture, u, told, i, at) for i in range(index, first + rows * columns, rows) if i < count]
        lines.append(tuple(span for stage in beside_it for span in stage))
    return [*lines, ()] if len(lines) < height else lines


def _stage(picture: Picture, u: UnitShown, told: BankTold, index: int, at: int) -> Line:
    old = is_old(picture, u)
    stage = told.stages[index]
    ordered, closed = _among(stage.name, u.ordered), _among(stage.name, u.closed)
    shape = "?" if closed is None else "■" if closed else "□"
    shape = ASCII.get(shape, shape) if picture.glyphs == "ascii" else shape
    differs = ordered is not None and closed is not None and ordered is not closed
    how = Mark.OLD if old else Mark.ABNORMAL if differs else Mark.STRONG if closed else Mark.PLAIN
    said = _told(closed, "closed", "open")
    said = f"({said})" if old and closed is not None else said
    return (
        (f" {'>' if index == at else ' '}{shape} {fit(stage.name, 9)}", Mark.CURSOR if index == at else Mark.PLAIN),
        (number(stage.rated_kw, 8, 1, "kW"), Mark.QUIET),
        (f"  {fit(_told(ordered, 'closed', 'open'), 8)}", Mark.OLD if picture.old else Mark.PLAIN),
        (fit(said, 8), how),
        (" ", Mark.PLAIN),
    )


def _among(name: str, names: tuple[str, ...] | None) -> bool | None:
    return None if names is None else name in names


# -- its registers


def _registers(picture: Picture, u: UnitShown, width: int, height: int) -> list[Line]:
    if height <= 0:
        return []
    found = picture.registers
    if found is None or found.bank != u.name:
        return [((" registers: asking", Mark.QUIET),)]
    if found.fault:
        return [((fit(f" registers: {found.fault}", width), Mark.ABNORMAL),)]
    wide = Widths.of(width)
    head = f" {fit('register', wide.where)}{fit('words', wide.words)}{fit('name', wide.name)}{fit('value', wide.value)}"
    lines = [_register(picture, row, wide) for row in found.rows]
    return [((f"{head}{fit('age', 6, right=True)}", Mark.QUIET),), *part(lines, picture.cursor.scroll, height - 1)]


@dataclass(frozen=True, slots=True)
class Widths:
    """Cells of the columns of the registers; what is left over goes to the name."""

    where: int
    words: int
    name: int
    value: int

    @classmethod
    def of(cls, width: int) -> "Widths":
        """In a pane of this width."""
        words, value = (10, 13) if width < 76 else (15, 15)
        return cls(15, words, max(1, width - 1 - 15 - words - value - 7), value)


def _register(picture: Picture, row: Register, wide: Widths) -> Line:
    where = f"{row.table} {row.address}{'' if row.bit is None else f'.{row.bit}'}"
    words = row.words[-1:] if row.table in BITS else row.words
    old = picture.old or row.age_s is None
    said = f"({row.text})" if old and row.text else row.text or MISSING
    if cells(said) >= wide.value and said.lstrip("(-")[:1].isdigit():
        said = "#" * (wide.value - 1)  # a figure is never cut
    return (
        (f" {fit(where, wide.where - 1)} {fit(words or MISSING, wide.words - 1)} ", Mark.QUIET),
        (f"{fit(row.name, wide.name - 1)} ", Mark.PLAIN if row.name else Mark.QUIET),
        (f"{fit(said, wide.value - 1)} ", Mark.OLD if old else Mark.STRONG),
        (f"{fit(age(row.age_s), 6, right=True)} ", Mark.QUIET),
    )
