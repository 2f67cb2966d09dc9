"""What rule sets say: of a plan before anything is switched on, of a run from its record. Rule by rule, with why.

A told rule set: `rule_set`, `title`, `document`, `edition`, `adopted`, `standing`, `notes` and `rules`; a rule: `key`,
`criterion`, `standing`, `why`, `clause`, `known`, `source`, `note`, `from_s`, `to_s`, and of a run `from_at`, `to_at`
(times of day) and `working`. A judged run: `state` (what is waited for, or empty), `fault`, `condition`, `sealed`,
`left_out` and `sets`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from benchctl.tui.view.course import plan_in_hand
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.scrolled import last, part
from benchctl.tui.view.text import MISSING, Line, Mark, Span, clean, ends, fit, minutes, wrap

Told = Mapping[str, Any]

# A shape (and one of ASCII) and a mark beside each word; the worst is the first.
STANDINGS: dict[str, tuple[str, str, Mark]] = {
    "not met": ("×", "X", Mark.FAULTY),
    "not satisfied": ("×", "X", Mark.ABNORMAL),
    "not demonstrated": ("?", "?", Mark.ABNORMAL),
    "cannot be shown": ("?", "?", Mark.ABNORMAL),
    "for people": ("◇", "o", Mark.STRONG),
    "shown": ("■", "#", Mark.NORMAL),
    "satisfied": ("■", "#", Mark.NORMAL),
}
UNKNOWN = ("?", "?", Mark.ABNORMAL)
WORD = 18  # cells of a shape and its word
FEW = 4  # rule sets in a line each, where something else needs the room
OPEN = {
    "being written": "the record is still being written: what is not in it yet is not demonstrated",
    "interrupted": "the record has no end: what is not in it is not demonstrated",
}
NO_SEAL = "no seal: nothing proves that the record is as it was written"
NOBODY = "no rule set is named: j picks by which to judge"
ACCEPTANCE = "Acceptance is the authority's: these are verdicts on single rules, not a pass or fail of the test."
DIGITS = 6  # of a figure of the working
AFTER = ("running", "checks")  # in which what was before is over


def promised(picture: Picture) -> Sequence[Told]:
    """What the rule sets say of the plan that is here."""
    verdicts: Sequence[Told] = (plan_in_hand(picture) or {}).get("verdicts", ())
    return verdicts


def ended(picture: Picture) -> Told | None:
    """The run that has ended last, as it is judged, until another begins."""
    if picture.now is not None and picture.now.mode in AFTER:
        return None
    return picture.judged.get(picture.ended)


def any_told(picture: Picture) -> bool:
    """Whether the program's page has rules to open."""
    run = ended(picture)
    return bool(promised(picture)) or bool(run is not None and run.get("sets"))


# -- in a line each


def in_brief(picture: Picture, width: int) -> list[Line]:
    """On the program's page: the run that has just ended, else the plan."""
    run = ended(picture)
    if run is not None:
        return of_run(run, width, picture.glyphs, quiet=True)
    return brief(promised(picture), width, picture.glyphs)


def of_run(run: Told, width: int, glyphs: str, *, quiet: bool = False) -> list[Line]:
    """A judged run: what is wrong with its record, and a line for each rule set. quiet: nothing without rule sets."""
    sets, state, fault = run.get("sets", ()), str(run.get("state", "")), str(run.get("fault", ""))
    if state:
        return [((f" {state}", Mark.QUIET),)]
    if fault:
        return [((f" {text}", Mark.ABNORMAL),) for text in wrap(f"not judged: {fault}", max(10, width - 2))[:3]]
    if not sets:
        return [] if quiet else [((f" {NOBODY}", Mark.QUIET),)]
    said = [OPEN.get(str(run.get("condition", "")), ""), "" if run.get("sealed") else NO_SEAL]
    warned: list[Line] = [((f" {text}", Mark.ABNORMAL),) for text in said if text]
    return [*warned, *brief(sets, width, glyphs)]


def brief(sets: Sequence[Told], width: int, glyphs: str) -> list[Line]:
    """A line for each rule set, the worst first; the rest is told by its number."""
    ranked = _worst_first(sets)
    shown = ranked if len(ranked) <= FEW else ranked[: FEW - 1]
    lines = [_in_a_line(told, width, glyphs) for told in shown]
    more = len(ranked) - len(shown)
    return [*lines, ((f"   and {more} more rule sets: enter", Mark.QUIET),)] if more else lines


def _worst_first(told: Iterable[Told]) -> list[Told]:
    """Rule sets or rules by their standing; those of one standing stay in their order."""
    order = list(STANDINGS)
    return sorted(told, key=lambda one: order.index(one["standing"]) if one.get("standing") in order else -1)


def _in_a_line(told: Told, width: int, glyphs: str) -> Line:
    standings = [str(rule.get("standing", "")) for rule in told.get("rules", ())]
    counts = ", ".join(f"{standings.count(word)} {word}" for word in STANDINGS if word in standings)
    text = f"{told.get('rule_set', '')}: {counts or 'no rules'}"
    return (*_word(str(told.get("standing", "")), glyphs), (fit(f" {text}", max(0, width - WORD - 1)), Mark.PLAIN))


def _word(standing: str, glyphs: str) -> list[Span]:
    shape, plain_shape, mark = STANDINGS.get(standing, UNKNOWN)
    word = f"{plain_shape if glyphs == 'ascii' else shape} {standing}"
    return [(" ", Mark.PLAIN), (fit(word, WORD), mark)]


# -- rule by rule


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """Every rule, on the program's page or that of an open run."""
    lines = _body(picture, width)
    head = ends(((f" {_heading(picture)}", Mark.STRONG),), (("esc: back ", Mark.QUIET),), width)
    return [head, *part(lines, picture.cursor.scroll, max(1, height - 1))]


def furthest(picture: Picture, width: int, height: int) -> int:
    """How far that can be scrolled."""
    return last(len(_body(picture, width)), max(1, height - 1))


def _heading(picture: Picture) -> str:
    run = _run(picture)
    if run is None:
        return f"What the rule sets say of the plan {(picture.plan or {}).get('name', '')}"
    return f"Verdicts on {run[0]}"


def _run(picture: Picture) -> tuple[str, Told] | None:
    """The run that is meant, by its name, as it is judged; None where it is a plan."""
    if picture.cursor.page is Page.RUNS:
        name = str((picture.run or {}).get("run", ""))
        return name, picture.judged.get(name, {})
    run = ended(picture)
    return None if run is None else (picture.ended, run)


def _body(picture: Picture, width: int) -> list[Line]:
    run, glyphs = _run(picture), picture.glyphs
    if run is None:
        lines = list(rules_of(promised(picture), width, glyphs))
        return lines or [((" no rule set is named by the program: j picks some", Mark.QUIET),)]
    told = run[1]
    sets = told.get("sets", ())
    if not sets or told.get("state"):
        return of_run(told, width, glyphs)
    above = of_run(told, width, glyphs)
    above += [((f" {text}", Mark.ABNORMAL),) for said in told.get("left_out", ()) for text in wrap(said, width - 2)]
    below: list[Line] = [(), *(((f" {text}", Mark.QUIET),) for text in wrap(ACCEPTANCE, max(10, width - 2)))]
    return [*above, *rules_of(sets, width, glyphs, working=picture.cursor.working), *below]


def rules_of(sets: Iterable[Told], width: int, glyphs: str, *, working: bool = False) -> Iterator[Line]:
    """Each rule set with its edition, each rule with why, its limit and its times, the worst first."""
    for told in sets:
        yield ()
        title = f" {told.get('title') or told.get('rule_set', '')}"
        yield (*_word(str(told.get("standing", "")), glyphs), (title, Mark.STRONG))
        adopted = f"adopted at the site: {told.get('adopted') or 'not stated'}"
        origin = f"{told.get('rule_set', '')}: {told.get('document', '')} {told.get('edition', '')}; {adopted}"
        yield from _wrapped(origin, 3, width, Mark.QUIET)
        for rule in _worst_first(told.get("rules", ())):
            yield from _rule(rule, width, glyphs, working=working)
        for note in told.get("notes", ()):
            yield from _wrapped(f"note: {note}", 3, width, Mark.PLAIN)


def _rule(rule: Told, width: int, glyphs: str, *, working: bool) -> Iterator[Line]:
    text = f"{rule.get('key', '')}: {rule.get('criterion', '')}"
    for at, line in enumerate(wrap(text, max(10, width - WORD - 3))):
        start = _word(str(rule.get("standing", "")), glyphs) if at == 0 else [(" " * (WORD + 1), Mark.PLAIN)]
        yield (*start, (f" {line}", Mark.PLAIN))
    if rule.get("why"):
        yield from _wrapped(str(rule["why"]), 6, width, Mark.STRONG)
    times = _times(rule)
    if times:
        yield from _wrapped(times, 6, width, Mark.PLAIN)
    yield from _wrapped(f"limit {limit(rule)}", 6, width, Mark.QUIET)
    for one in rule.get("working", ()) if working else ():
        yield from _working(one, width)


def limit(rule: Told) -> str:
    """Where a limit is from and how well it is known, in words."""
    clause = f"clause {rule['clause']}" if rule.get("clause") else ""
    parts = (str(rule.get("known", "")), clause, str(rule.get("source", "")), str(rule.get("note", "")))
    return "; ".join(part for part in parts if part)


def _times(rule: Told) -> str:
    """The two times that it rests on, since the begin, and of the day where it is a run's."""
    if rule.get("from_s") is None:
        return ""
    end = rule.get("to_s")
    said = f"from {minutes(rule['from_s'])} to {minutes(end) if end is not None else 'the end'}"
    at = f" ({rule['from_at']} to {rule.get('to_at') or 'the end'})" if rule.get("from_at") else ""
    return said + at


def _working(one: Told, width: int) -> Iterator[Line]:
    """A sum that a person can do again."""
    value = "not known" if one.get("value") is None else f"{_figure(one['value'])} {one.get('unit', '')}".rstrip()
    low, high = one.get("low"), one.get("high")
    bounds = f" (between {_figure(low)} and {_figure(high)})" if None not in (low, high) and low != high else ""
    yield from _wrapped(f"= {one.get('name', '')} {value}{bounds}: {one.get('formula', '')}", 8, width, Mark.STRONG)
    for given in one.get("inputs", ()):
        at = f" at {minutes(given['at_s'])}" if given.get("at_s") is not None else ""
        said = f"{given.get('name', '')}: {_figure(given.get('value'))} {given.get('unit', '')}".rstrip()
        yield from _wrapped(f"{said}{at}", 10, width, Mark.PLAIN)
    if one.get("note"):
        yield from _wrapped(str(one["note"]), 10, width, Mark.QUIET)


def _figure(value: Any) -> str:
    if value is None:
        return MISSING
    return f"{value:.{DIGITS}g}" if isinstance(value, float) else clean(str(value))


def _wrapped(text: str, indent: int, width: int, mark: Mark) -> Iterator[Line]:
    for line in wrap(text, max(10, width - indent - 1)):
        yield ((" " * indent, Mark.PLAIN), (line, mark))
