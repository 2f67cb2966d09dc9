"""A plan as text for people: at most 100 columns, readable without colour."""

import textwrap
from collections.abc import Iterator

from benchctl.core.legs import LegKind
from benchctl.core.program import LoadIs, Program, Repeat, Rounding
from benchctl.core.site import Site
from benchctl.electrical.heat import btu_per_hour
from benchctl.planning.plan import Level, Plan, PlannedLeg, Severity

WIDTH = 98
MOST_OF_A_SEGMENT = 24  # legs of one segment that are listed; --json lists all


def hms(seconds: float) -> str:
    """h:mm:ss, with tenths where there are any."""
    tenths = round(seconds * 10.0)
    whole, rest = divmod(tenths, 10)
    text = f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return f"{text}.{rest}" if rest else text


def lines(plan: Plan, site: Site, program: Program) -> Iterator[str]:
    """The whole plan, line by line."""
    yield from _head(plan, site)
    yield from _findings(plan)
    yield from _segments(plan, program)
    yield from _levels(plan)
    yield from _margins(plan)
    yield from _links(plan)
    yield from _totals(plan)
    yield from _list("IF THIS COMPUTER STOPS", plan.stops)
    yield from _list("NOTES", plan.notes)
    yield from _list("BEFORE LOAD", plan.cautions)
    yield ""
    refusals = sum(f.severity is Severity.REFUSAL for f in plan.findings)
    yield (
        ("FEASIBLE" if plan.feasible else "NOT FEASIBLE")
        + f": {_many(refusals, 'refusal')}, "
        + _many(len(plan.findings) - refusals, "warning")
    )


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _head(plan: Plan, site: Site) -> Iterator[str]:
    plate = site.nameplate
    yield f"PLAN  {plan.program}: {plan.title}"
    yield f"  site    {plan.site}: {site.title}"
    yield (
        f"  source  {plate.name}: {plate.kind}, {plate.power_kw:g} kW, {plate.apparent_kva:g} kVA, "
        f"{plate.volts:g} V, {plate.hertz:g} Hz{', ' + plate.rating_class if plate.rating_class else ''}"
    )
    yield (
        f"  chain   {_many(len(site.units), 'unit')}, rated {plan.rated_kw:.1f} kW at their own volts, "
        f"{plan.available_kw:.1f} kW at {plate.volts:g} V"
    )
    counted = "all that the source carries" if plan.load_is is LoadIs.SOURCE_TOTAL else "the chain"
    side = "nearest to" if plan.rounding is Rounding.NEAREST else plan.rounding.value
    yield f"  rules   targets count {counted}; stages {side} the kW asked"


def _findings(plan: Plan) -> Iterator[str]:
    if plan.findings:
        yield ""
        yield "FINDINGS"
    for finding in plan.findings:
        where = f"row {finding.number}: " if finding.number else ""
        mark = "REFUSED" if finding.severity is Severity.REFUSAL else "warning"
        yield from _wrap(f"{where}{finding.text} [{finding.key}]", f"  {mark}  ")


def _wrap(text: str, mark: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark), break_on_hyphens=False)


def _list(title: str, texts: tuple[str, ...]) -> Iterator[str]:
    if texts:
        yield ""
        yield title
    for text in texts:
        yield from _wrap(text, "  - ")


def _segments(plan: Plan, program: Program) -> Iterator[str]:
    yield ""
    yield "SEGMENTS  kW of the chain at the end of each row; amps of the fullest phase; kWh as asked"
    yield " row seg what                  start   length  asked kW  given kW    error kW       %     A      kWh"
    for number, segment in enumerate(program.segments, start=1):
        legs = [leg for leg in plan.legs if leg.segment == number]
        if isinstance(segment, Repeat) and segment.times > 1 and legs:
            each = len(legs) // segment.times
            yield from _some(legs[:each])
            yield _again(legs, segment.times)
        else:
            yield from _some(legs)


def _again(legs: list[PlannedLeg], times: int) -> str:
    more = legs[len(legs) // times :]
    kwh = sum(leg.energy_kwh for leg in more)
    return (
        f" {'':3} {legs[0].segment:3d} the same {times - 1} times more: rows {more[0].number} to "
        f"{more[-1].number}, {hms(sum(leg.length_s for leg in more))}, {kwh:.1f} kWh"
    )


def _some(legs: list[PlannedLeg]) -> Iterator[str]:
    if len(legs) <= MOST_OF_A_SEGMENT:
        yield from map(_leg, legs)
        return
    half = MOST_OF_A_SEGMENT // 2
    yield from map(_leg, legs[:half])
    yield f" {'':3} {legs[0].segment:3d} ... {len(legs) - 2 * half} rows more, all of them with --json"
    yield from map(_leg, legs[-half:])


def _what(leg: PlannedLeg) -> str:
    kind = "step" if leg.kind is LegKind.RAMP and leg.length_s == 0.0 else leg.kind.value
    if leg.label:
        return f"{kind}: {leg.label}"
    return f"{kind}, {leg.levels} levels" if leg.levels > 1 else kind


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _leg(leg: PlannedLeg) -> str:
    level = leg.level
    percent = f"{level.error_percent:+.2f}" if level.error_percent is not None else "-"
    error = "exact" if level.side.value == "exact" else f"{level.side.value} {level.error_kw:+.1f}"
    length = f"<{hms(leg.wait_s)}" if leg.wait_s else hms(leg.length_s)
    return (
        f" {leg.number:3d} {leg.segment:3d} {_cut(_what(leg), 18):18} {hms(leg.start_s):>8} {length:>8} "
        f"{level.asked_kw:9.1f} {level.given_kw:9.1f} {error:>11} {percent if error != 'exact' else '-':>7} "
        f"{max(level.phase_amps):5.0f} {leg.energy_kwh:8.1f}"
    )


def _levels(plan: Plan) -> Iterator[str]:
    found: dict[float, Level] = {}
    for leg in plan.legs:
        found.setdefault(leg.level.asked_kw, leg.level)
    loaded = [found[kw] for kw in sorted(found) if found[kw].given_kw > 0.0]
    if not loaded:
        return
    yield ""
    yield "LEVELS  heat into the air, at full volts"
    yield "  asked kW  given kW     A, B, C amps        source kW     BTU/h  air m³/s  rise K"
    for level in loaded[:MOST_OF_A_SEGMENT]:
        amps = ", ".join(f"{a:.0f}" for a in level.phase_amps)
        yield (
            f" {level.asked_kw:9.1f} {level.given_kw:9.1f}  {amps:>15} {level.source_kw:16.1f} "
            f"{btu_per_hour(level.given_kw):9.0f} {_maybe(level.air_m3_s, 9)} {_maybe(level.rise_k, 7)}"
        )
    if len(loaded) > MOST_OF_A_SEGMENT:
        yield f"  ... {len(loaded) - MOST_OF_A_SEGMENT} levels more"


def _maybe(value: float | None, width: int) -> str:
    return f"{'-' if value is None else format(value, '.1f'):>{width}}"


def _margins(plan: Plan) -> Iterator[str]:
    if not plan.margins:
        return
    sag = plan.margins[0].sag_percent
    yield ""
    yield f"MARGIN FOR VOLTS  with volts {sag:g} % low resistors give {100 * (1 - sag / 100) ** 2:.2f} % of their kW"
    yield "  asked kW  gives then  to give it, set   reachable then"
    for margin in plan.margins[:MOST_OF_A_SEGMENT]:
        yield (
            f" {margin.asked_kw:9.1f} {margin.sagged_kw:11.1f} {margin.set_kw:16.1f}   "
            f"{'yes' if margin.reachable else 'NO'}"
        )
    if len(plan.margins) > MOST_OF_A_SEGMENT:
        yield f"  ... {len(plan.margins) - MOST_OF_A_SEGMENT} levels more"


def _links(plan: Plan) -> Iterator[str]:
    yield ""
    how = "stated" if plan.scan_stated else "computed"
    yield f"LINKS  scan period {plan.scan_period_s:g} s ({how}); times in seconds; last off: from a drop to no load"
    yield "  at                       devices  requests  a scan   drop sent  last off  block spread"
    for link in plan.links:
        requests = f"{link.requests}+{link.feeds}" if link.feeds else f"{link.requests}"
        times = (
            f"{link.drop_write_s:10.3f} {link.off_s:9.2f} {link.block_spread_s:13.3f}"
            if link.units
            else f"{'-':>10} {'-':>9} {'-':>13}"
        )
        yield f"  {_cut(link.place, 24):24} {len(link.devices):7d} {requests:>9} {link.scan_s:8.3f} {times}"
    if any(link.feeds for link in plan.links):
        yield "  (+ writes that feed a watchdog)"


def _totals(plan: Plan) -> Iterator[str]:
    sums = plan.totals
    yield ""
    yield "TOTALS"
    yield f"  program time     {hms(sums.length_s)}; waiting for operator or supply {hms(sums.wait_s)} at most"
    yield (
        f"  before, after    about {hms(round(sums.before_s))} for fans and checks; {hms(sums.cooldown_s)} of "
        "cool-down at least"
    )
    yield (
        f"  peak             {sums.peak_kw:.1f} kW asked of the chain; the source carries at most "
        f"{sums.peak_source_kw:.1f} kW (upper limit {plan.limit_kw:g} kW)"
    )
    yield f"  energy           {sums.energy_kwh:.1f} kWh asked of the chain, {sums.given_kwh:.1f} kWh by the stages"
    yield f"  readings         {sums.readings} at the interval, further ones at each change"
    if sums.average_percent is not None:
        yield f"  average          {sums.average_percent:.1f} % of the nameplate in the sense of its rating class"
    if sums.fuel_litres is not None:
        yield f"  fuel             about {sums.fuel_litres:.0f} L, estimated from a generic table of diesel sets"
