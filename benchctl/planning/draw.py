"""Site and program become a plan."""

from dataclasses import replace

from benchctl.core.legs import lay_out
from benchctl.core.program import Program
from benchctl.core.site import Site
from benchctl.planning.chain import Chain, fans_kw, limit_kw, site_kw
from benchctl.planning.checks import findings
from benchctl.planning.facts import CAUTIONS, notes, site_load_off
from benchctl.planning.links import links, scan_period_s
from benchctl.planning.margins import margins, smallest_lost
from benchctl.planning.plan import Plan
from benchctl.planning.present import present
from benchctl.planning.stops import stops
from benchctl.planning.timeline import stairs, timeline
from benchctl.planning.totals import totals


def plan(site: Site, program: Program) -> Plan:
    """The plan of a program at a site: rows, totals, margins, links, findings. Raises nothing for valid nouns."""
    site, own_kw = present(site, program), site.site_load_reserve_kw
    chain = Chain(site, program)
    wires = links(site)
    scan_s = scan_period_s(site, wires)
    legs = timeline(program, lay_out(program, site.nameplate.power_kw), chain, scan_s)
    sums = totals(site, program, legs, chain)
    steps = stairs(program, site.nameplate.power_kw)
    loss = smallest_lost(site, chain, sums.peak_kw)
    drawn = Plan(
        program=program.name,
        title=program.title,
        site=site.name,
        load_is=program.load_is,
        rounding=program.rounding,
        available_kw=chain.available_kw,
        rated_kw=site.rated_kw,
        limit_kw=limit_kw(site),
        site_kw=site_kw(site),
        fans_kw=fans_kw(site),
        scan_period_s=scan_s,
        scan_stated=site.scan_period_s is not None,
        legs=legs,
        stairs=steps,
        margins=margins(site, legs),
        links=wires,
        totals=sums,
        loss=loss,
        stops=stops(site),
        notes=(*notes(site, program, legs, sums, steps, loss, wires), *site_load_off(program, own_kw)),
        cautions=CAUTIONS,
    )
    return replace(drawn, findings=findings(site, program, drawn))
