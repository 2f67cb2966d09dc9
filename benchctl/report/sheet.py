"""A sheet to write readings on, for a program: the rows and columns that will be asked, and fuel against the tank."""

from benchctl.core.legs import Leg, LegKind, lay_out
from benchctl.core.program import Program
from benchctl.core.readings import BY_NAME
from benchctl.core.site import Site
from benchctl.planning import plan
from benchctl.planning.plan import Plan
from benchctl.report.measures import Measures, clock, number, short
from benchctl.report.parts import Block, Bullets, Column, Content, Pairs, Para, Section, Signatures, Table
from benchctl.report.words import say

ALWAYS = ("oil_kpa", "coolant_c", "battery_v", "fuel_percent")  # where the program names none; common practice
AMBIENT = ("ambient_c", "room_c")
LINE = "________________"


def sheet(program: Program, site: Site | None, measures: Measures) -> Content:
    """The sheet. Without a site there are no kW and no fuel."""
    drawn = plan(site, program) if site is not None else None
    signed = Signatures((say("operator"), say("witness")), (say("sign name"), say("sign line")))
    sections = [
        Section(say("sheet people"), (Pairs(_people(site)),)),
        Section(say("sheet fuel"), (Para(_fuel(drawn, measures)),)),
        *([Section(say("sheet before"), (Bullets(drawn.cautions),))] if drawn is not None and drawn.cautions else []),
        Section(say("sheet read"), _readings(program, site, measures)),
        Section(say("signatures"), (signed,)),
    ]
    return Content(
        title=say("sheet"),
        subtitle=program.title or program.name,
        banner="",
        running=f"{program.name}{', ' + site.name if site else ''}",
        foot=say("sheet note"),
        page=say("page"),
        language=say("language"),
        digest="",
        front=(),
        sections=tuple(sections),
        landscape=True,
    )


def _people(site: Site | None) -> tuple[tuple[str, str], ...]:
    if site is None:
        rows = [(say("where"), LINE * 2), (say("tested"), LINE * 2)]
    else:
        plate = site.nameplate
        source = f"{plate.name}, {short(plate.power_kw)} kW, {short(plate.volts)} V, {short(plate.hertz)} Hz"
        serial = plate.serial or LINE
        rows = [(say("where"), site.title or site.name), (say("tested"), source), (say("source serial"), serial)]
    return (*rows, (say("sheet date"), LINE), (say("operator"), LINE), (say("witness"), LINE))


def _fuel(drawn: Plan | None, measures: Measures) -> str:
    litres = drawn.totals.fuel_litres if drawn is not None else None
    if litres is None:
        return say("sheet no fuel")
    return say("sheet fuel text", needed=measures.say(litres, "L", 0), unit=measures.unit("L"))


def names(program: Program) -> tuple[str, ...]:
    """What is read, in the order of the gauges' table."""
    asked = {*(program.readings or ALWAYS), *AMBIENT}
    return tuple(name for name in BY_NAME if name in asked)


def moments(program: Program, legs: tuple[Leg, ...]) -> list[tuple[float, Leg]]:
    """(program time, leg) of every reading: at the begin of each hold, at the interval, and at its end."""
    found: list[tuple[float, Leg]] = []
    start_s = 0.0
    for leg in legs:
        if leg.kind is LegKind.HOLD and leg.length_s > 0.0:
            every_s = program.reading_interval_s
            count = int(leg.length_s / every_s + 1e-9)
            found += [(start_s + i * every_s, leg) for i in range(count + 1)]
            if leg.length_s - count * every_s > every_s / 4:
                found.append((start_s + leg.length_s, leg))
        start_s += leg.length_s
    return found


def _readings(program: Program, site: Site | None, measures: Measures) -> tuple[Block, ...]:
    nameplate_kw = site.nameplate.power_kw if site is not None else 100.0
    gauges = [BY_NAME[name] for name in names(program)]
    columns = (
        Column(say("number"), "right"),
        Column(say("sheet due"), "right"),
        Column(say("segment"), "right"),
        *((Column(say("target"), "right"),) if site is not None else ()),
        Column(say("sheet true time"), share=1.0),
        *(Column(f"{gauge.text}, {measures.unit(gauge.unit)}", share=1.0) for gauge in gauges),
        Column(say("read by"), share=1.0),
    )
    rows, target_kw = [], None
    for number_, (at_s, leg) in enumerate(moments(program, _held(program, nameplate_kw)), start=1):
        target_kw = leg.to_kw
        kw = (number(target_kw, 0),) if site is not None else ()
        rows.append((str(number_), clock(at_s), str(leg.segment), *kw, *("",) * (len(gauges) + 2)))
    note = () if program.readings else (Para(say("sheet none"), "note"),)
    return (*note, Table(columns, tuple(rows), written=True)) if rows else (*note, Para(say("no samples")))


def _held(program: Program, nameplate_kw: float) -> tuple[Leg, ...]:
    """The legs, each with the target that is in force in it."""
    from dataclasses import replace

    legs, target_kw = [], 0.0
    for leg in lay_out(program, nameplate_kw):
        target_kw = target_kw if leg.to_kw is None else leg.to_kw
        legs.append(replace(leg, to_kw=target_kw))
    return tuple(legs)


def text_lines(content: Content) -> list[str]:
    """The sheet as plain text, for a printer that knows nothing else."""
    told = [f"{content.title.upper()}  {content.subtitle}", f"{content.running}", ""]
    for section in content.sections:
        told += ["", section.title.upper()]
        for block in section.blocks:
            if isinstance(block, Para):
                told.append(f"  {block.text}")
            elif isinstance(block, Bullets):
                told += [f"  - {item}" for item in block.items]
            elif isinstance(block, Pairs):
                told += [f"  {name:<24} {value}" for name, value in block.rows]
            elif isinstance(block, Table):
                told += _table_lines(block)
            elif isinstance(block, Signatures):
                told += [line for role in block.roles for line in ("", f"  {role}: {LINE * 3}")]
    return [*told, "", content.foot]


def _table_lines(table: Table) -> list[str]:
    widths = [max(len(c.title), *(len(row[i]) for row in table.rows), 8) for i, c in enumerate(table.columns)]
    rows = [" | ".join(f"{said or '_' * w:>{w}}" for said, w in zip(row, widths, strict=True)) for row in table.rows]
    head = " | ".join(f"{c.title:>{w}}" for c, w in zip(table.columns, widths, strict=True))
    return [f"  {line}" for line in (head, *rows)]
