"""A rule set's file: limits and durations of a text → the nouns of `core/ruleset.py`."""

from collections.abc import Callable
from typing import Any

from benchctl.core.papers import PAPERS
from benchctl.core.readings import BY_NAME
from benchctl.core.ruleset import (
    MEASURED,
    Autonomy,
    Centre,
    Direction,
    Duty,
    Fields,
    Known,
    Measure,
    Origin,
    Quantity,
    Readings,
    Rest,
    Rule,
    RuleSet,
    SampleBase,
    Stability,
    Steady,
    Step,
    Transient,
    Unbroken,
)
from benchctl.files.check import Report
from benchctl.files.fault import nearest, quoted
from benchctl.files.ruleset_rows import OneRule, RuleRow, RuleSetFile
from benchctl.files.tree import Path

KNOWN = {
    "read in the text": Known.READ,
    "quoted elsewhere": Known.QUOTED,
    "from memory": Known.MEMORY,
    "computed": Known.COMPUTED,
    "common practice": Known.PRACTICE,
}
MEASURES = {
    "width": Measure.WIDTH,
    "deviation": Measure.DEVIATION,
    "regulation": Measure.REGULATION,
    "droop": Measure.DROOP,
    "unbalance of the mean": Measure.UNBALANCE_MEAN,
    "unbalance of rated": Measure.UNBALANCE_RATED,
}
CENTRES = {"final": Centre.FINAL, "rated": Centre.RATED}
FROM_A_TEXT = (Known.READ, Known.QUOTED)


def rule_set_of(report: Report) -> RuleSet:
    """The noun of a rule set's file. Raises FileFault with every flaw."""
    file = report.read(RuleSetFile)
    rules = []
    for i, row in enumerate(file.rules):
        kinds = sorted(row.model_fields_set)
        if len(kinds) != 1:
            known = ", ".join(OneRule.model_fields)
            found = " and ".join(kinds) or "nothing"
            report.at(("rules", i), f"found {found}, expected one rule: one key of {known}")
            continue
        rules.append(_MAKERS[kinds[0]](report, getattr(row, kinds[0]), ("rules", i, kinds[0])))
    if file.reading_interval < 1:
        report.at(("reading_interval",), f"found {file.reading_interval:g} s, expected at least 1 s")
    if not report.flaws:
        _keys(report, rules, file)
    report.settle()
    return RuleSet(
        name=report.source.name,
        title=file.title,
        document=file.document,
        edition=file.edition,
        rules=tuple(rules),
        adopted=file.adopted or "",
        scope=file.scope or "",
        notes=tuple(file.notes),
        sample_base=SampleBase(file.sample_base),
        gap_s=file.gap,
        of_derated=file.of_derated,
        reading_interval_s=file.reading_interval,
        warm_up_s=file.warm_up,
        line=1,
    )


def _keys(report: Report, rules: list[Rule], file: RuleSetFile) -> None:
    """Every key stands once, and what is asked during a duty names one."""
    first: dict[str, int] = {}
    duties = [rule.key for rule in rules if isinstance(rule, Duty)]
    for i, (rule, row) in enumerate(zip(rules, file.rules, strict=True)):
        path: Path = ("rules", i, next(iter(row.model_fields_set)))
        if rule.key in first:
            line = report.line(("rules", first[rule.key]))
            report.at((*path, "key"), f"key {quoted(rule.key)} is here twice (first in line {line})")
        first.setdefault(rule.key, i)
        if isinstance(rule, (Steady, Stability)) and rule.during and rule.during not in duties:
            known = f"expected the key of a duty{nearest(rule.during, duties)}" if duties else "there is no duty here"
            report.at((*path, "during"), f"found {quoted(rule.during)}, {known}")


def _origin(report: Report, row: RuleRow, path: Path) -> Origin:
    known = KNOWN[row.known]
    if known in FROM_A_TEXT and not row.source:
        report.at(
            (*path, "known"), f"found {quoted(row.known)} without a source, expected a key 'source' that says which"
        )
    return Origin(row.clause or "", known, row.source or "", row.note or "")


def _duty(report: Report, row: Any, path: Path) -> Rule:
    if row.at_least is None and row.at_most is None:
        report.at(path, "found no level, expected at_least, at_most or both")
    if row.at_least is not None and row.at_most is not None and row.at_least > row.at_most:
        report.at((*path, "at_most"), f"found {row.at_most:g} %, expected at least the {row.at_least:g} % of at_least")
    return Duty(row.key, row.at_least, row.at_most, _time(report, row, path), _origin(report, row, path), _text(row))


def _unbroken(report: Report, row: Any, path: Path) -> Rule:
    return Unbroken(row.key, row.at_least, _time(report, row, path), _origin(report, row, path), _text(row))


def _steady(report: Report, row: Any, path: Path) -> Rule:
    measure = MEASURES[row.as_]
    if measure in (Measure.UNBALANCE_MEAN, Measure.UNBALANCE_RATED) and row.of not in ("volts", "amps"):
        report.at((*path, "of"), f"found {quoted(row.of)}, expected volts or amps: nothing else has three phases")
    if measure in (Measure.REGULATION, Measure.DROOP) and row.of not in ("volts", "hertz"):
        report.at((*path, "of"), f"found {quoted(row.of)}, expected volts or hertz for {row.as_}")
    if row.over <= 0:
        report.at((*path, "over"), "found 0 s, expected the time over which it is looked at")
    origin = _origin(report, row, path)
    return Steady(row.key, Quantity(row.of), measure, row.limit, origin, row.over, row.during or "", _text(row))


def _transient(report: Report, row: Any, path: Path) -> Rule:
    if row.recovery <= 0:
        report.at((*path, "recovery"), "found 0 s, expected the time within which it is back")
    if row.band <= 0:
        report.at((*path, "band"), "found 0 %, expected the half width of the band in which it is back")
    return Transient(
        row.key,
        Quantity(row.of),
        Direction(row.on),
        row.deviation,
        row.recovery,
        row.band,
        _origin(report, row, path),
        row.exit,
        CENTRES[row.around],
        row.step,
        _text(row),
    )


def _stability(report: Report, row: Any, path: Path) -> Rule:
    _named(report, row.reading, (*path, "reading"), (*BY_NAME, *MEASURED))
    if row.every <= 0:
        report.at((*path, "every"), "found 0 s, expected the time from one reading to the next")
    origin = _origin(report, row, path)
    return Stability(row.key, row.reading, row.count, row.within, row.every, origin, row.during or "", _text(row))


def _rest(report: Report, row: Any, path: Path) -> Rule:
    return Rest(row.key, _time(report, row, path), _origin(report, row, path), row.no_load, _text(row))


def _readings(report: Report, row: Any, path: Path) -> Rule:
    _list(report, row.names, (*path, "names"), (*BY_NAME, *MEASURED))
    if row.every < 1:
        report.at((*path, "every"), f"found {row.every:g} s, expected at least 1 s")
    origin = _origin(report, row, path)
    return Readings(row.key, row.every, tuple(row.names), origin, row.at_start, row.late, _text(row))


def _fields(report: Report, row: Any, path: Path) -> Rule:
    _list(report, row.names, (*path, "names"), tuple(PAPERS))
    return Fields(row.key, tuple(row.names), _origin(report, row, path), _text(row))


def _step(report: Report, row: Any, path: Path) -> Rule:
    if row.within is not None and row.at_least is not None and row.at_least > row.within:
        report.at((*path, "within"), f"found {row.within:g} s, expected at least the {row.at_least:g} s of at_least")
    return Step(row.key, row.text, _origin(report, row, path), row.within, row.at_least)


def _autonomy(report: Report, row: Any, path: Path) -> Rule:
    if row.load <= 0:
        report.at((*path, "load"), "found 0 %, expected the constant load of the discharge")
    for_s = _time(report, row, path)
    return Autonomy(row.key, row.load, for_s, _origin(report, row, path), row.end_volts, row.tolerance, _text(row))


def _text(row: RuleRow) -> str:
    return row.text or ""


def _time(report: Report, row: Any, path: Path) -> float:
    if row.for_ <= 0:
        report.at((*path, "for"), "found 0 s, expected a length of time")
    return float(row.for_)


def _list(report: Report, names: list[str], path: Path, known: tuple[str, ...]) -> None:
    for i, name in enumerate(names):
        if name in names[:i]:
            report.at((*path, i), f"{quoted(name)} stands in the list twice, expected once")
        else:
            _named(report, name, (*path, i), known)


def _named(report: Report, name: str, path: Path, known: tuple[str, ...]) -> None:
    if name not in known:
        report.at(path, f"found {quoted(name)}, expected one of {', '.join(known)}{nearest(name, known)}")


_MAKERS: dict[str, Callable[[Report, Any, Path], Rule]] = {
    "duty": _duty,
    "unbroken": _unbroken,
    "steady": _steady,
    "transient": _transient,
    "stability": _stability,
    "rest": _rest,
    "readings": _readings,
    "fields": _fields,
    "step": _step,
    "autonomy": _autonomy,
}
