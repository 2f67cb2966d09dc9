"""The plan against what was done, the readings at the interval, and what a person read at the set."""

import itertools

from benchctl.assessment.trail import Noted
from benchctl.core.readings import BY_NAME
from benchctl.report.dossier import Dossier
from benchctl.report.measures import MISSING, clock, number, short
from benchctl.report.parts import Block, Column, Para, Section, Table
from benchctl.report.words import say

SETTLE_S = 1.0  # a segment's first sample may still be of the one before
MOST_ROWS = 400


def plan_and_done(dossier: Dossier) -> Section:
    """One row for each stretch that ran, and for each planned leg that did not."""
    stretches = dossier.trail.stretches
    if not stretches and dossier.plan is None:
        return Section(say("course"), (Para(say("no plan")),))
    columns = (
        Column(say("segment"), "right"),
        Column(say("what"), share=1.0),
        Column(say("target"), "right"),
        Column(say("planned"), "right"),
        Column(say("from"), "right"),
        Column(say("done"), "right"),
        Column(say("least"), "right"),
        Column(say("mean"), "right"),
        Column(say("most"), "right"),
        Column(say("of nameplate"), "right"),
    )
    kw = short(dossier.run.site.nameplate.power_kw)
    note = Para(say("plan note", kw=kw, begin=dossier.time(0.0)), "note")
    return Section(say("course"), (Table(columns, tuple(_legs(dossier))), note))


def _legs(dossier: Dossier) -> list[tuple[str, ...]]:
    planned = dossier.plan.legs if dossier.plan else ()
    rows: list[tuple[str, ...]] = []
    for leg, stretch in itertools.zip_longest(planned, dossier.trail.stretches):
        what = (stretch or leg).label or (stretch.kind if stretch else leg.kind.value)
        target_kw = leg.target_kw if leg is not None else stretch.target_kw
        length = MISSING if leg is None else f"≤ {clock(leg.wait_s)}" if leg.wait_s else clock(leg.length_s)
        if stretch is None:
            rows.append((str(leg.segment), what, number(target_kw, 0), length, say("not done"), *("",) * 5))
            continue
        lasted_s = stretch.to_s - stretch.from_s
        values = dossier.within(dossier.trail.power_kw, stretch.from_s + min(SETTLE_S, lasted_s), stretch.to_s)
        figures = (min(values), sum(values) / len(values), max(values)) if values else (None, None, None)
        least = MISSING if figures[0] is None else number(dossier.percent(figures[0]))
        rows.append(
            (
                str(stretch.segment),
                what,
                number(target_kw, 0),
                length,
                clock(round(stretch.from_s)),
                clock(round(lasted_s)),
                *(number(figure) for figure in figures),
                least,
            )
        )
    return rows


def readings(dossier: Dossier) -> Section:
    """What was measured at the interval, and what was typed in."""
    return Section(say("readings"), (*_measured(dossier), *_typed(dossier)))


def _measured(dossier: Dossier) -> tuple[Block, ...]:
    trail = dossier.trail
    interval_s = dossier.run.program.reading_interval_s if dossier.run.program else 900.0
    columns = (
        Column(say("time")),
        Column(say("elapsed"), "right"),
        Column("kW", "right"),
        Column(say("percent kW"), "right"),
        Column("V", "right"),
        Column(say("amps of", phase="A"), "right"),
        Column(say("amps of", phase="B"), "right"),
        Column(say("amps of", phase="C"), "right"),
        Column("Hz", "right"),
        Column(f"{say('exhaust short')} {dossier.measures.unit('°C')}", "right"),
    )
    rows = []
    for at_s in moments(dossier, interval_s)[:MOST_ROWS]:
        kw = dossier.sample(trail.power_kw, at_s)
        rows.append(
            (
                dossier.time(at_s),
                clock(round(at_s)),
                number(kw),
                MISSING if kw is None else number(dossier.percent(kw)),
                number(dossier.sample(trail.volts_v, at_s)),
                *(number(dossier.sample(c, at_s), 0) for c in (trail.amps_a, trail.amps_b, trail.amps_c)),
                number(dossier.sample(trail.hertz, at_s), 2),
                dossier.measures.number(dossier.sample(dossier.run.hottest_c, at_s), "°C", 0),
            )
        )
    if not rows:
        return (Para(say("no samples")),)
    caption = Para(say("readings caption", interval=clock(interval_s)), "note")
    return (Table(columns, tuple(rows), say("measured")), caption)


def moments(dossier: Dossier, interval_s: float) -> list[float]:
    """When readings stand: within each hold at its begin, at the interval and at its end; else at the interval."""
    holds = [s for s in dossier.trail.stretches if s.kind == "hold"]
    found = []
    for hold in holds:
        count = int((hold.to_s - hold.from_s) / interval_s + 1e-9)
        found += [hold.from_s + i * interval_s for i in range(count + 1)]
        found.append(hold.to_s - dossier.run.scan_period_s)
    if not holds:
        found = [i * interval_s for i in range(int(dossier.length_s / interval_s) + 1)]
    apart_s = min(10.0, interval_s / 4)
    kept: list[float] = []
    for at_s in sorted(set(found)):
        if not kept or at_s - kept[-1] >= apart_s:
            kept.append(at_s)
    return kept


def _typed(dossier: Dossier) -> tuple[Block, ...]:
    noted = dossier.trail.noted
    if not noted:
        return (Para(say("no typed")),)
    named = {name for reading in noted for name, _ in reading.values}
    asked = dossier.run.program.readings if dossier.run.program else ()
    names = [name for name in BY_NAME if name in named or name in asked]
    columns = (
        Column(say("number"), "right"),
        Column(say("time")),
        *(Column(f"{BY_NAME[name].text}, {dossier.measures.unit(BY_NAME[name].unit)}", "right") for name in names),
        Column(say("read by"), share=1.0),
    )
    rows = tuple(_reading(dossier, reading, names) for reading in noted)
    late = (Para(say("typed late"), "note"),) if any(reading.late for reading in noted) else ()
    return (Table(columns, rows, say("typed")), Para(say("typed caption"), "note"), *late)


def _reading(dossier: Dossier, reading: Noted, names: list[str]) -> tuple[str, ...]:
    values = dict(reading.values)
    cells = [dossier.measures.number(values.get(name), BY_NAME[name].unit, BY_NAME[name].decimals) for name in names]
    marks = (*((say("corrected"),) if reading.corrected else ()), *((reading.late,) if reading.late else ()))
    who = ", ".join((reading.who, *marks))
    return (str(reading.number), dossier.time(reading.at_s), *cells, who)
