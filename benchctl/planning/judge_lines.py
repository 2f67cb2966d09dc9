"""Plan verdicts as text for people and as rows for machines."""

import textwrap
from collections.abc import Iterator
from typing import Any

from benchctl.core.criteria import span
from benchctl.core.ruleset import Origin
from benchctl.planning.judged import Judged, PlanVerdict, Standing
from benchctl.planning.lines import WIDTH, hms

SHOWN = {
    Standing.SATISFIED: "satisfied",
    Standing.PEOPLE: "for people",
    Standing.CANNOT: "cannot be shown",
    Standing.NOT: "NOT satisfied",
}


def verdict_lines(verdict: PlanVerdict) -> Iterator[str]:
    """One rule set, line by line."""
    adopted = verdict.adopted or "not stated"
    yield ""
    yield from _wrapped(f"RULE SET  {verdict.rule_set}: {verdict.title}", "  ")
    yield from _wrapped(f"  {verdict.document}, edition: {verdict.edition}; adopted at the site: {adopted}", "  ")
    if verdict.least.length_s:
        yield (
            f"  at the least {span(verdict.least.length_s)} under load, {verdict.least.energy_kwh:.0f} kWh, "
            f"{verdict.least.readings} readings"
        )
    for judged in verdict.rules:
        yield from _rule(judged)
    for note in verdict.notes:
        yield from _wrapped(f"  note: {note}", "        ")
    yield _summary(verdict)


def _rule(judged: Judged) -> Iterator[str]:
    when = "" if judged.from_s is None or judged.to_s is None else f", {hms(judged.from_s)} to {hms(judged.to_s)}"
    yield from _wrapped(f"  {SHOWN[judged.standing]:<15} {judged.key}: {judged.criterion}{when}", " " * 18)
    if judged.why:
        yield from _wrapped(f"{' ' * 18}{judged.why}", " " * 18)
    yield from _wrapped(f"{' ' * 18}[{mark(judged.origin)}]", " " * 18)


def mark(origin: Origin) -> str:
    """Where a figure is from and how well it is known, in words."""
    parts = [origin.clause, origin.known.value, origin.source, origin.note]
    return "; ".join(part for part in parts if part)


def _summary(verdict: PlanVerdict) -> str:
    counts = {s: sum(j.standing is s for j in verdict.rules) for s in Standing}
    told = ", ".join(f"{count} {standing.value}" for standing, count in counts.items() if count)
    return f"  {verdict.rule_set}: {told or 'no rules'}"


def _wrapped(text: str, indent: str) -> Iterator[str]:
    yield from textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def verdict_rows(verdict: PlanVerdict) -> Iterator[dict[str, Any]]:
    """One row for each rule, then one for the rule set. Missing is null."""
    for judged in verdict.rules:
        yield {
            "row": "rule",
            "rule_set": verdict.rule_set,
            "key": judged.key,
            "kind": judged.kind,
            "criterion": judged.criterion,
            "standing": judged.standing.value,
            "why": judged.why,
            "from_s": judged.from_s,
            "to_s": judged.to_s,
            "clause": judged.origin.clause,
            "known": judged.origin.known.value,
            "source": judged.origin.source,
            "note": judged.origin.note,
        }
    yield {
        "row": "rule set",
        "rule_set": verdict.rule_set,
        "title": verdict.title,
        "document": verdict.document,
        "edition": verdict.edition,
        "adopted": verdict.adopted or None,
        "standing": verdict.standing.value,
        "least_s": verdict.least.length_s,
        "least_kwh": verdict.least.energy_kwh,
        "least_readings": verdict.least.readings,
        "notes": list(verdict.notes),
    }
