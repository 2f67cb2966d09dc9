"""Many benches at once: a row each, what is wrong first. What is not of now is in parentheses and says so in a word.

Only what is live has its own state's word; all else has a word for how it is gone, so that no old state reads as one
of now. A bench that was lost with load on says that: its units' own watchdogs are then what takes the load off.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from benchctl.core.reading import Maybe
from benchctl.mqtt.payloads import Live
from benchctl.mqtt.picture import Bench, Life
from benchctl.tui.view.scrolled import visible
from benchctl.tui.view.text import MISSING, Line, Mark, Span, age, cells, crop, ends, fit, minutes, number
from benchctl.tui.view.watched import Watched


@dataclass(frozen=True, slots=True)
class State:
    """How a bench is. trouble: 0 is the worst, from CALM on nobody has to look; word empty: the bench's own mode."""

    word: str
    shape: str
    mark: Mark
    trouble: int
    holds: Callable[[Bench], bool]


CALM = 4
BY_HAND = "LOAD BY HAND"


def loaded(b: Bench) -> bool:
    """Load is on, or was when it was last heard."""
    return b.told is not None and (b.told.loaded or b.told.off is False)


def _life(life: Life, *, load: bool | None = None) -> Callable[[Bench], bool]:
    return lambda b: b.life is life and (load is None or loaded(b) is load)


def _now(test: Callable[[Live], bool]) -> Callable[[Bench], bool]:
    return lambda b: b.live is not None and test(b.live)


# The first that holds is shown. From "run host failed" on, the bench is live.
STATES: tuple[State, ...] = (
    State("LOST, LOAD WAS ON", "×", Mark.FAULTY, 0, _life(Life.LOST, load=True)),
    State("LOST", "×", Mark.FAULTY, 1, _life(Life.LOST)),
    State("SILENT", "×", Mark.FAULTY, 1, _life(Life.SILENT)),
    State("STALE", "~", Mark.ABNORMAL, 2, _life(Life.STALE)),
    State("LATE", "~", Mark.ABNORMAL, 2, _life(Life.LATE)),
    State("LEFT, LOAD WAS ON", "▲", Mark.ABNORMAL, 2, _life(Life.LEFT, load=True)),
    State("left", "-", Mark.QUIET, 7, _life(Life.LEFT)),
    State("waiting", "?", Mark.QUIET, 6, lambda b: b.life is Life.WAITING or b.live is None),
    State("RUN HOST FAILED", "×", Mark.FAULTY, 0, _now(lambda s: bool(s.fault))),
    State("DROPPING", "×", Mark.FAULTY, 0, _now(lambda s: s.dropped and s.off is not True)),
    State("ALL LOAD OFF", "×", Mark.FAULTY, 1, _now(lambda s: s.dropped)),
    State("TRIPPED", "×", Mark.FAULTY, 1, _now(lambda s: bool(s.trip))),
    State("TOLD BY TWO", "▲", Mark.ABNORMAL, 2, lambda b: bool(b.why)),
    State("HELD", "▲", Mark.ABNORMAL, 3, _now(lambda s: s.course is not None and bool(s.course.held))),
    State("PAUSED", "▲", Mark.ABNORMAL, 3, _now(lambda s: s.course is not None and s.course.paused)),
    State("", "▲", Mark.ABNORMAL, 3, _now(lambda s: s.unacknowledged > 0)),
    State("", "■", Mark.STRONG, CALM, loaded),
    State("", "□", Mark.PLAIN, 5, _now(lambda s: s.mode not in ("idle", "done"))),
    State("", "·", Mark.QUIET, 6, lambda b: True),
)
ASCII = {"×": "X", "▲": "!", "■": "#", "□": "o", "·": "."}


def state_of(b: Bench) -> State:
    """Its row of STATES."""
    return next(s for s in STATES if s.holds(b))


def word_of(b: Bench) -> str:
    """Its state in a word or two."""
    word = state_of(b).word
    if word or b.live is None:
        return word or MISSING
    return BY_HAND if b.live.mode == "idle" and b.live.loaded else b.live.mode.upper()


def in_order(benches: Iterable[Bench], *, by_name: bool = False) -> list[Bench]:
    """By name, or the worst first; of equal ones those with load on, then by name."""
    if by_name:
        return sorted(benches, key=lambda b: (b.name, b.key))
    return sorted(benches, key=_rank)


def _rank(b: Bench) -> tuple[int, bool, str, str]:
    return state_of(b).trouble, not loaded(b), b.name, b.key


# -- figures: the snapshot's, else those that the broker has kept, which are never of now


def delivered_kw(b: Bench) -> Maybe:
    """As it was last told."""
    return b.told.delivered.power_kw if b.told is not None else None


def _source(b: Bench) -> tuple[Maybe, Maybe, Maybe, bool]:
    """kW, Hz, V, and whether the bench itself calls them old."""
    if b.live is not None:
        s = b.live.source
        return s.power_kw, s.hertz, s.volts_v, s.stale
    if b.state is not None:
        return b.state.source_kw, b.state.hertz, b.state.volts_v, b.state.source_stale
    return None, None, None, False


def first_out(b: Bench) -> str:
    """What came first, and how many alarms stand beside it."""
    if b.told is None:
        return ""
    first = b.told.trip or b.told.first_out
    if not first and b.standing is not None and b.told.alarms:
        first = next((a.text for a in b.standing.alarms if not a.shelved_s), "")
    more = b.told.alarms - 1
    return f"{first} (+{more})" if first and more > 0 else first or (f"{more + 1} alarms" if more >= 0 else "")


def _banks(b: Bench) -> tuple[str, bool]:
    """How many of its banks answer, of how many; and whether some do not."""
    if b.live is not None:
        lost = sum(u.stale for u in b.live.units)
        return f"{len(b.live.units) - lost}/{len(b.live.units)}", bool(lost)
    if b.state is not None:
        away = max(b.state.units_stale, b.state.units_lost)
        return f"{b.state.units - away}/{b.state.units}", bool(away)
    return MISSING, False


def _to_go_s(b: Bench) -> Maybe:
    if b.live is not None:
        return b.live.course.program_to_go_s if b.live.course is not None else None
    return b.state.program_to_go_s if b.state is not None else None


Cell = Callable[[Bench, int, bool], Span]  # of a bench, in so many cells, old or not


@dataclass(frozen=True, slots=True)
class Column:
    """least: the width of the window from which on it is shown; width 0: a share of the rest."""

    head: str
    width: int
    cell: Cell
    right: bool = True
    least: int = 0


def _state(b: Bench, wide: int, old: bool) -> Span:
    return fit(word_of(b), wide), state_of(b).mark


def _delivered(b: Bench, wide: int, old: bool) -> Span:
    old = old or (b.told is not None and b.told.delivered.stale)
    return number(delivered_kw(b), wide, 1, old=old), Mark.OLD if old else Mark.STRONG


def _target(b: Bench, wide: int, old: bool) -> Span:
    return number(b.told.target_kw if b.told else None, wide, 1, old=old), Mark.OLD if old else Mark.PLAIN


def _of_source(which: int, decimals: int) -> Cell:
    def cell(b: Bench, wide: int, old: bool) -> Span:
        found = _source(b)
        value, old = found[which], old or bool(found[3])
        assert not isinstance(value, bool)
        return number(value, wide, decimals, old=old), Mark.OLD if old else Mark.PLAIN

    return cell


def _answering(b: Bench, wide: int, old: bool) -> Span:
    text, away = _banks(b)
    said = f"({text})" if old and text != MISSING else text
    return fit(said, wide, right=True), Mark.ABNORMAL if away and not old else Mark.OLD if old else Mark.PLAIN


def _first(b: Bench, wide: int, old: bool) -> Span:
    said = b.why or b.flaw if old else first_out(b) or b.why
    fresh = b.live is not None and b.live.unacknowledged > 0
    return fit(said, wide), Mark.QUIET if old or not fresh else Mark.ABNORMAL


def _age(b: Bench, wide: int, old: bool) -> Span:
    return fit(age(b.age_s), wide, right=True), Mark.ABNORMAL if old else Mark.QUIET


def _run(b: Bench, wide: int, old: bool) -> Span:
    course = b.live.course if b.live is not None else None
    program = course.program if course is not None else b.state.program if b.state is not None else ""
    leg = f": {course.label or course.kind}" if course is not None and (course.label or course.kind) else ""
    text = f"{program}{leg}" if program else ""
    return fit(f"({text})" if old and text else text, wide), Mark.OLD if old else Mark.PLAIN


def _left(b: Bench, wide: int, old: bool) -> Span:
    to_go_s = _to_go_s(b)
    text = "" if to_go_s is None else minutes(to_go_s)
    return fit(f"({text})" if old and text else text, wide, right=True), Mark.OLD if old else Mark.PLAIN


def _charge(b: Bench, wide: int, old: bool) -> Span:
    who = b.told.charge if b.told is not None else ""
    return fit(f"({who})" if old and who else who, wide), Mark.OLD if old else Mark.PLAIN


def _world(b: Bench, wide: int, old: bool) -> Span:
    return fit("rehearsal" if b.rehearsal else "", wide), Mark.REHEARSAL if b.rehearsal else Mark.PLAIN


COLUMNS: tuple[Column, ...] = (
    Column("", 9, _world, right=False, least=72),
    Column("state", 17, _state, right=False),
    Column("kW", 9, _delivered, least=44),
    Column("target", 9, _target, least=96),
    Column("Hz", 7, _of_source(1, 2), least=56),
    Column("volts", 7, _of_source(2, 0), least=104),
    Column("source", 9, _of_source(0, 1), least=140),
    Column("banks", 7, _answering, least=112),
    Column("age", 6, _age, least=32),
    Column("to go", 9, _left, least=124),
    Column("program", 24, _run, right=False, least=150),
    Column("charge", 16, _charge, right=False, least=180),
    Column("first out, or what is wrong", 0, _first, right=False, least=64),
)
LEAD = 4  # the cursor, the shape
NAME_LEAST, NAME_MOST = 8, 28


def _columns(width: int, benches: list[Bench]) -> tuple[int, list[tuple[Column, int]]]:
    """Cells of the name, and what is shown in a window of this width, and how wide each."""
    names = max(cells(b.name) for b in benches)
    shown = [c for c in COLUMNS if c.least <= width and (c.head or any(b.rehearsal for b in benches))]
    fixed = LEAD + sum(c.width + 1 for c in shown)
    name = max(NAME_LEAST, min(NAME_MOST, names, width - fixed - (12 if shown[-1].width == 0 else 0)))
    return name, [(c, c.width or max(1, width - fixed - name)) for c in shown]


def draw(watched: Watched, width: int, height: int) -> list[Line]:
    """The table in so many lines, its head included."""
    benches = in_order(watched.benches, by_name=watched.by_name)
    if not benches:
        said = watched.cut or f"nothing has come yet; listening at {watched.where}"
        return [(), ((f"  {said}", Mark.PLAIN),)]
    name, columns = _columns(width, benches)
    heads = " ".join(fit(c.head, wide, right=c.right) for c, wide in columns)
    lines: list[Line] = [((f"{' ' * LEAD}{fit('bench', name)} {heads}", Mark.QUIET),)]
    at = next((i for i, b in enumerate(benches) if b.key == watched.cursor), 0)
    rows = height - 1
    first = visible(at, len(benches), rows)
    for i, bench in enumerate(benches[first : first + rows], first):
        lines.append(_row(watched, bench, name, columns, at_cursor=i == at))
    return lines


def _row(watched: Watched, b: Bench, name: int, columns: list[tuple[Column, int]], *, at_cursor: bool) -> Line:
    state, old = state_of(b), not b.is_live
    shape = ASCII.get(state.shape, state.shape) if watched.glyphs == "ascii" else state.shape
    lead = Mark.CURSOR if at_cursor else state.mark
    spans: list[Span] = [(f"{'>' if at_cursor else ' '}{shape} ", lead), (" ", Mark.PLAIN)]
    spans.append((fit(b.name, name), Mark.CURSOR if at_cursor else Mark.OLD if old else Mark.PLAIN))
    for column, wide in columns:
        spans += [(" ", Mark.PLAIN), column.cell(b, wide, old)]
    return tuple(spans)


def summary(watched: Watched, width: int) -> Line:
    """All of them in a line: how many are in trouble, how many have load on, and how much in all.

    One that is not live and had load on may have it still: then it is from as many as are heard, to as many as may.
    """
    benches = watched.benches
    troubled = sum(state_of(b).trouble < CALM for b in benches)
    live = [b for b in benches if b.is_live]
    known = [kw for b in live if not b.rehearsal and (kw := delivered_kw(b)) is not None]
    on = sum(loaded(b) for b in live)
    count = f"{len(benches)} bench{'' if len(benches) == 1 else 'es'}"
    trouble: Span = (f" {troubled} IN TROUBLE ", Mark.FAULTY) if troubled else (" no trouble ", Mark.QUIET)
    had = sum(loaded(b) for b in benches)
    many = f"{on} to {had}" if had > on else f"{on}"
    left = (trouble, (f" {count}, {len(live)} live, {many} with load on", Mark.STRONG))
    total = f", {sum(known):.0f} kW" if known else ""
    right = ((f" {watched.clock} ", Mark.PLAIN),)
    return ends((*left, (f"{total} ", Mark.STRONG), (watched.where, Mark.QUIET)), right, width)


def worst(watched: Watched, width: int) -> Line:
    """The broker that is not there, or the worst bench in words."""
    if watched.cut:
        return crop(((f" NOT LIVE: {watched.cut} ", Mark.FAULTY),), width)
    first = min(watched.benches, key=_rank, default=None)
    if first is None or state_of(first).trouble >= CALM:
        return crop(((" · all that is heard is well", Mark.QUIET),), width)
    said = first.why if not first.is_live else first_out(first) or first.why
    shape = state_of(first).shape
    text = f" {ASCII.get(shape, shape) if watched.glyphs == 'ascii' else shape} {first.name}: {word_of(first)}"
    return crop(((f"{text}{f': {said}' if said else ''} ", state_of(first).mark),), width)
