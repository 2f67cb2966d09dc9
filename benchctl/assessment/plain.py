"""Verdicts as plain values, for JSON: missing and endless figures are null."""

import math
from typing import Any

from benchctl.assessment.verdict import Judgement, Verdict, Working


def rows(judgement: Judgement) -> list[dict[str, Any]]:
    """One mapping a verdict, each complete in itself."""
    about = {
        "rule_set": judgement.rule_set,
        "document": judgement.document,
        "edition": judgement.edition,
        "adopted": judgement.adopted,
        "judged": judgement.outcome.value,
    }
    return [about | _verdict(verdict) for verdict in judgement.verdicts]


def _verdict(verdict: Verdict) -> dict[str, Any]:
    origin = verdict.origin
    return {
        "rule": verdict.key,
        "outcome": verdict.outcome.value,
        "criterion": verdict.criterion,
        "why": verdict.why,
        "clause": origin.clause,
        "known": origin.known.value,
        "source": origin.source,
        "note": origin.note,
        "from_s": _figure(verdict.from_s),
        "to_s": _figure(verdict.to_s),
        "working": [working(one) for one in verdict.working],
    }


def working(one: Working) -> dict[str, Any]:
    """A derived figure with all that it was made of."""
    inputs = [{"name": i.name, "value": _figure(i.value), "unit": i.unit, "at_s": _figure(i.at_s)} for i in one.inputs]
    return {
        "name": one.name,
        "value": _figure(one.value),
        "low": _figure(one.low),
        "high": _figure(one.high),
        "unit": one.unit,
        "formula": one.formula,
        "inputs": inputs,
        "note": one.note,
    }


def _figure(value: float | str | None) -> float | str | None:
    return None if isinstance(value, float) and not math.isfinite(value) else value
