"""Trails made by hand, and rules for them."""

from array import array
from collections.abc import Sequence
from typing import Any

from benchctl.assessment.judge import judge
from benchctl.assessment.trail import NAN, Trail
from benchctl.assessment.verdict import Outcome, Verdict
from benchctl.core.ruleset import Duty, Known, Origin, RuleSet, SampleBase

SHOWN, OPEN, NOT_MET = Outcome.SHOWN, Outcome.NOT_DEMONSTRATED, Outcome.NOT_MET
ORIGIN = Origin("8.4.2", Known.QUOTED, "S3")
PAPERS = {"nameplate_kw": "500 kW", "nameplate_kva": "625 kVA", "operator": "operator", "witness": "witness"}


def trail(
    t_s: Sequence[float],
    kw: Sequence[float],
    *,
    hertz: Sequence[float] | float = 50.0,
    volts: Sequence[float] | float = 400.0,
    nameplate_kw: float = 500.0,
    rated_v: float = 400.0,
    rated_hz: float = 50.0,
    **more: Any,
) -> Trail:
    """A trail of these samples; what is one number is constant."""
    count = len(t_s)

    def column(values: Sequence[float] | float) -> "array[float]":
        return array("d", [values] * count if isinstance(values, int | float) else values)

    made = Trail("2026-10-25T08:00:00+00:00", nameplate_kw, rated_v, rated_hz, papers=dict(PAPERS), **more)
    made.t_s, made.power_kw = column(t_s), column(kw)
    made.volts_v, made.hertz = column(volts), column(hertz)
    for name in ("amps_a", "amps_b", "amps_c", "pair_ab", "pair_bc", "pair_ca"):
        setattr(made, name, column(NAN))
    return made


def rules(*these: Any, base: SampleBase = SampleBase.SCAN, **more: Any) -> RuleSet:
    """A rule set of these rules."""
    return RuleSet("trial", "Trial", "a text", "2010", tuple(these), sample_base=base, adopted="2010", **more)


def duty(percent: float, for_s: float, key: str = "load", most: float | None = None) -> Duty:
    """At least so many percent for a time."""
    return Duty(key, percent, most, for_s, ORIGIN)


def verdicts(made: Trail, *these: Any, **more: Any) -> list[Verdict]:
    """Judge a trail."""
    return list(judge(made, rules(*these, **more)).verdicts)


def verdict(made: Trail, rule: Any, **more: Any) -> Verdict:
    """The one verdict of one rule."""
    (found,) = verdicts(made, rule, **more)
    return found
