"""A plan as plain rows for machines: one for each segment's leg, margin, link and finding, the totals last.

Missing is null, never zero. Numbers are not rounded here.
"""

from typing import Any

from benchctl.electrical.heat import btu_per_hour
from benchctl.planning.plan import Finding, Link, Margin, Plan, PlannedLeg

Row = dict[str, Any]


def rows(plan: Plan) -> list[Row]:
    """All rows in order; every row says in `row` what it is."""
    return [
        *(_segment(leg) for leg in plan.legs),
        *(_margin(margin) for margin in plan.margins),
        *(_link(link, plan.scan_period_s) for link in plan.links),
        *({"row": "stop", "text": text} for text in plan.stops),
        *({"row": "note", "text": text} for text in plan.notes),
        *({"row": "caution", "text": text} for text in plan.cautions),
        *(_finding(finding) for finding in plan.findings),
        _totals(plan),
    ]


def _segment(leg: PlannedLeg) -> Row:
    level = leg.level
    return {
        "row": "segment",
        "number": leg.number,
        "segment": leg.segment,
        "line": leg.line or None,
        "kind": leg.kind.value,
        "label": leg.label,
        "start_s": leg.start_s,
        "length_s": leg.length_s,
        "wait_s": leg.wait_s,
        "target_kw": leg.target_kw,
        "from_kw": leg.from_kw,
        "asked_kw": level.asked_kw,
        "given_kw": level.given_kw,
        "rounding": level.side.value,
        "error_kw": level.error_kw,
        "error_percent": level.error_percent,
        "short": level.short,
        "levels": leg.levels,
        "amps_a": level.phase_amps[0],
        "amps_b": level.phase_amps[1],
        "amps_c": level.phase_amps[2],
        "source_kw": level.source_kw,
        "energy_kwh": leg.energy_kwh,
        "given_kwh": leg.given_kwh,
        "heat_kw": level.given_kw,
        "heat_btu_h": btu_per_hour(level.given_kw),
        "air_m3_s": level.air_m3_s,
        "rise_k": level.rise_k,
        "prompt": leg.prompt or None,
        "if_silent": leg.if_silent.value if leg.prompt else None,
    }


def _margin(margin: Margin) -> Row:
    return {
        "row": "margin",
        "asked_kw": margin.asked_kw,
        "sag_percent": margin.sag_percent,
        "sagged_kw": margin.sagged_kw,
        "set_kw": margin.set_kw,
        "reachable": margin.reachable,
    }


def _link(link: Link, scan_period_s: float) -> Row:
    return {
        "row": "link",
        "place": link.place,
        "gateway": link.gateway,
        "devices": list(link.devices),
        "requests": link.requests,
        "seldom": link.seldom,
        "feeds": link.feeds,
        "scan_s": link.scan_s,
        "scan_period_s": scan_period_s,
        "drop_write_s": link.drop_write_s if link.units else None,
        "off_s": link.off_s if link.units else None,
        "block_spread_s": link.block_spread_s if link.units else None,
    }


def _finding(finding: Finding) -> Row:
    return {
        "row": "finding",
        "key": finding.key,
        "severity": finding.severity.value,
        "text": finding.text,
        "number": finding.number,
        "line": finding.line,
    }


def _totals(plan: Plan) -> Row:
    sums, loss = plan.totals, plan.loss
    return {
        "row": "totals",
        "feasible": plan.feasible,
        "program": plan.program,
        "site": plan.site,
        "load_is": plan.load_is.value,
        "rounding": plan.rounding.value,
        "length_s": sums.length_s,
        "before_s": sums.before_s,
        "wait_s": sums.wait_s,
        "cooldown_s": sums.cooldown_s,
        "peak_kw": sums.peak_kw,
        "peak_source_kw": sums.peak_source_kw,
        "available_kw": plan.available_kw,
        "rated_kw": plan.rated_kw,
        "limit_kw": plan.limit_kw,
        "energy_kwh": sums.energy_kwh,
        "given_kwh": sums.given_kwh,
        "levels": sums.levels,
        "chain_levels": sums.chain_levels,
        "changes": sums.changes,
        "readings": sums.readings,
        "average_percent": sums.average_percent,
        "fuel_litres": sums.fuel_litres,
        "scan_period_s": plan.scan_period_s,
        "left_without_smallest_kw": loss.left_kw if loss else None,
        "refusals": sum(f.severity.value == "refusal" for f in plan.findings),
        "warnings": sum(f.severity.value == "warning" for f in plan.findings),
    }
