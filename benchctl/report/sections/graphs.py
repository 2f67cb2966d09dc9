"""The run as a graph, and the traces of sudden changes of load."""

import bisect
import math
from array import array

from benchctl.assessment.trail import Change
from benchctl.core.ruleset import Quantity
from benchctl.report.dossier import Dossier
from benchctl.report.measures import MISSING, clock, number, short
from benchctl.report.parts import Block, Column, Para, Picture, Section, Table
from benchctl.report.plot import Band, Curve, Graph, Mark, Panel, draw
from benchctl.report.words import say

MOST_TRACES = 12
BEFORE_S, AFTER_S = 3.0, 15.0
MOST_SIGNS = 26
MOST_CURVES = 3


def graph(dossier: Dossier) -> Section:
    """kW, volts, hertz, amps and temperatures over the whole run, with segments and alarms."""
    trail, run = dossier.trail, dossier.run
    plate = run.site.nameplate
    temperature = dossier.measures.scale("°C")
    hot = [v * temperature.factor + temperature.shift for v in run.hottest_c]
    warm = [
        Curve(say("coolant"), told.t_s, [v * temperature.factor + temperature.shift for v in told.values], 1)
        for told in trail.logged
        if told.name == "coolant_c"
    ]
    panels = (
        Panel(
            say("power"),
            "kW",
            (Curve(say("source"), trail.t_s, trail.power_kw), Curve(say("asked"), run.t_s, run.target_kw, 3)),
            104.0,
            0.0,
            plate.power_kw / 10,
        ),
        Panel(say("volts"), "V", (Curve("V", trail.t_s, trail.volts_v),), 56.0, plate.volts, plate.volts * 0.05),
        Panel(say("hertz"), "Hz", (Curve("Hz", trail.t_s, trail.hertz),), 56.0, plate.hertz, plate.hertz * 0.04),
        Panel(
            say("amps"),
            "A",
            tuple(
                Curve(name, trail.t_s, column, stroke)
                for stroke, (name, column) in enumerate((("A", trail.amps_a), ("B", trail.amps_b), ("C", trail.amps_c)))
            ),
            64.0,
            0.0,
            plate.rated_amps / 10,
        ),
        Panel(say("temperatures"), temperature.unit, (Curve(say("exhaust"), run.t_s, hot), *warm), 52.0, None, 20.0),
    )
    bands = tuple(Band(s.from_s, s.to_s, str(s.segment)) for s in trail.stretches)
    marks, told = _marks(dossier)
    picture = Graph(
        panels, 0.0, max(dossier.length_s, 1.0), bands, marks, axis=say("graph axis", begin=dossier.time(0.0))
    )
    caption = say("graph caption")
    if told:
        caption += " " + say("graph marks", marks="; ".join(told))
    return Section(say("graph"), (Picture(draw(picture), _alt(dossier), caption),))


def _marks(dossier: Dossier) -> tuple[tuple[Mark, ...], list[str]]:
    """Alarms and trips as letters, and what they stand for."""
    found = dossier.run.of("alarm", "trip")
    groups: dict[float, list[str]] = {}
    for event in found:
        groups.setdefault(event.at_s, []).append(event.text)
    marks, told = [], []
    for i, (at_s, texts) in enumerate(list(groups.items())[:MOST_SIGNS]):
        sign = chr(ord("a") + i)
        marks.append(Mark(at_s, sign))
        more = f" (+{len(set(texts)) - 1})" if len(set(texts)) > 1 else ""
        told.append(f"{sign} {texts[0]}{more}")
    return tuple(marks), told


def _alt(dossier: Dossier) -> str:
    def ends(column: "array[float]", decimals: int) -> tuple[str, str]:
        known = dossier.within(column, 0.0, float("inf"))
        return (number(min(known), decimals), number(max(known), decimals)) if known else (MISSING, MISSING)

    kw, volts, hertz = ends(dossier.trail.power_kw, 0), ends(dossier.trail.volts_v, 0), ends(dossier.trail.hertz, 2)
    return say(
        "graph alt", length=clock(round(dossier.length_s)), kw_low=kw[0], kw_high=kw[1], v_low=volts[0],
        v_high=volts[1], hz_low=hertz[0], hz_high=hertz[1],
    )  # fmt: skip


def transients(dossier: Dossier) -> Section:
    """Every sudden change that was ordered, with its extremes, and the traces of the first ones."""
    changes = dossier.trail.changes
    if not changes:
        return Section(say("transients"), (Para(say("no transients")),))
    columns = (
        Column(say("time")),
        Column(say("elapsed"), "right"),
        Column(say("change"), share=1.0),
        Column(say("kw from to"), "right"),
        Column(say("hertz extreme"), "right"),
        Column(say("volts extreme"), "right"),
    )
    note = Para(say("transients note", refresh=f"{short(dossier.trail.refresh_s)} s"), "note")
    blocks: list[Block] = [Table(columns, tuple(_change(dossier, c) for c in changes)), note]
    if told := dict.fromkeys(trace.told for trace in dossier.trail.traces if trace.told):
        blocks.append(Para(say("capture told", told="; ".join(told)), "note"))
    blocks += [_trace(dossier, c) for c in changes[:MOST_TRACES]]
    if len(changes) > MOST_TRACES:
        blocks.append(Para(say("more traces", count=len(changes) - MOST_TRACES), "note"))
    return Section(say("transients"), tuple(blocks))


def _change(dossier: Dossier, change: Change) -> tuple[str, ...]:
    rise = change.to_kw < change.from_kw
    plate = dossier.run.site.nameplate
    return (
        dossier.time(change.at_s),
        clock(change.at_s),
        change.label or MISSING,
        f"{change.from_kw:.0f} → {change.to_kw:.0f}",
        _extreme(_seen(dossier, Quantity.HERTZ, change), plate.hertz, rise, 2),
        _extreme(_seen(dossier, Quantity.VOLTS, change), plate.volts, rise, 1),
    )


def _curves(dossier: Dossier, quantity: Quantity, from_s: float, to_s: float) -> list[Curve]:
    """The run's own meter, then the captures that show the time."""
    trail = dossier.trail
    own = trail.hertz if quantity is Quantity.HERTZ else trail.volts_v
    curves = [_cut(say("meter"), trail.t_s, own, from_s, to_s, 0)]
    for trace in trail.traces:
        if trace.quantity is quantity and len(curves) < MOST_CURVES:
            curve = _cut(trace.name, trace.t_s, trace.values, from_s, to_s, len(curves))
            curves += [curve] if len(curve.t_s) > 1 else []
    return curves


def _cut(name: str, t_s: "array[float]", values: "array[float]", from_s: float, to_s: float, stroke: int) -> Curve:
    low = max(0, bisect.bisect_left(t_s, from_s) - 1)
    high = bisect.bisect_right(t_s, to_s) + 1
    return Curve(name, [t - from_s for t in t_s[low:high]], values[low:high], stroke)


def _seen(dossier: Dossier, quantity: Quantity, change: Change) -> list[float]:
    """What was seen after a change, up to the next one; of captures where there are some: they are finer."""
    later = [c.at_s for c in dossier.trail.changes if c.at_s > change.at_s]
    until_s = min([change.at_s + AFTER_S, *later])
    own, *captures = _curves(dossier, quantity, change.at_s, until_s)
    return [
        v
        for curve in captures or [own]
        for t, v in zip(curve.t_s, curve.values, strict=False)
        if 0.0 <= t < until_s - change.at_s and not math.isnan(v)
    ]


def _extreme(values: list[float], rated: float, rise: bool, decimals: int) -> str:
    if not values:
        return MISSING
    extreme = max(values) if rise else min(values)
    percent = 100.0 * (extreme - rated) / rated
    return f"{number(extreme, decimals)} ({'+' if percent > 0 else ''}{number(percent)} %)"


def _trace(dossier: Dossier, change: Change) -> Picture:
    plate = dossier.run.site.nameplate
    from_s, to_s = change.at_s - BEFORE_S, change.at_s + AFTER_S
    hertz, volts = (tuple(_curves(dossier, q, from_s, to_s)) for q in (Quantity.HERTZ, Quantity.VOLTS))
    panels = (
        Panel(say("hertz"), "Hz", hertz, 52.0, plate.hertz, plate.hertz * 0.02),
        Panel(say("volts"), "V", volts, 52.0, plate.volts, plate.volts * 0.03),
    )
    marks = (Mark(BEFORE_S, ""),)
    picture = Graph(panels, 0.0, BEFORE_S + AFTER_S, marks=marks, width=262.0, axis=say("trace axis"), zero_s=BEFORE_S)
    kws = {"from_kw": f"{change.from_kw:.0f}", "to_kw": f"{change.to_kw:.0f}"}
    caption = say("trace caption", label=change.label or say("change"), at=clock(change.at_s), **kws)
    alt = say("trace alt", before=short(BEFORE_S), after=short(AFTER_S), **kws)
    return Picture(draw(picture), alt, caption, share=0.5)
