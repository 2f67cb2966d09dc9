"""Every check of a plan, as one table. Documentation and tests read the same rows.

CPNS = common practice, no source. A refusal makes the plan not feasible; a warning is for people to weigh.
"""

from benchctl.core.program import Program
from benchctl.core.site import Site
from benchctl.planning import load_checks as load
from benchctl.planning import place_checks as place
from benchctl.planning import time_checks as time
from benchctl.planning.found import Check
from benchctl.planning.plan import Finding, Plan, Severity

NO, SAY = Severity.REFUSAL, Severity.WARNING

CHECKS: tuple[Check, ...] = (
    Check("no units", NO, "a chain needs a unit", place.no_units),
    Check(
        "volts too high",
        NO,
        "at most 110 % of a unit's rated volts unless its profile says otherwise (CPNS)",
        place.volts_too_high,
    ),
    Check("hertz of fans", NO, "fans fed by the source suit its hertz", place.hertz_of_fed_fans),
    Check("phases", NO, "the source has the phases and the neutral that each stage needs", place.phases),
    Check("capacity", NO, "the units give the peak at the site's volts, P = P_rated (U / U_rated)²", load.capacity),
    Check("upper limit", NO, "nothing above the source's upper limit, 105 % of the nameplate (CPNS)", load.above_limit),
    Check("minimum", NO, "each minimum has a level at or above it", load.minimum_missed),
    Check("prime overload", NO, "PRP: above 100 % for 1 h in 12 h (ISO 8528-1, second hand)", load.prime_overload),
    Check("over-current", NO, "no phase above the over-current limit, 110 % of rated amps (CPNS)", load.over_current),
    Check("rejection", NO, "a block down above the largest is declared a rejection", time.rejection_undeclared),
    Check("band not measured", NO, "a hold that starts in band has a meter", time.band_unmeasured),
    Check("scan period", NO, "the stated scan period holds all requests of each link", place.scan_too_short),
    Check("watchdog fed", NO, "each unit's watchdog is fed twice in its time (CPNS)", place.watchdog_starved),
    Check("unattended", NO, "an unattended run has a watchdog in every unit", place.unattended_bare),
    Check("volts low", SAY, "a unit far below its rated volts gives little (CPNS)", place.volts_too_low),
    Check("hertz", SAY, "units are made for the source's hertz", place.hertz_of_units),
    Check("link load", SAY, "a link is busy for at most 80 % of a scan (CPNS)", place.link_full),
    Check("scan slow", SAY, "a scan is shorter than the stale time", place.scan_slow),
    Check("attended only", SAY, "units without watchdog keep their load if this computer stops", place.attended_only),
    Check("load comes back", SAY, "no unit takes its load up again by itself", place.resumes),
    Check("calibration", SAY, "every meter has a calibration date", place.calibration),
    Check("fans on source", SAY, "the source runs until the units whose fans it feeds are cool", place.fed_fans),
    Check("air", SAY, "each profile tells its air flow or its rise", place.air_unknown),
    Check("site load on top", SAY, "chain and site load together stay below the upper limit", load.site_load_on_top),
    Check("site load", SAY, "a total leaves something for the chain", load.site_load_exceeds),
    Check("no overload", SAY, "COP, LTP, ESP, DCP have no overload (ISO 8528-1, second hand)", load.overload_class),
    Check("average", SAY, "ESP and PRP: 70 % on average over 24 h (ISO 8528-1, second hand)", load.class_average),
    Check("current", SAY, "no phase above the rated amps", load.high_current),
    Check("unbalance", SAY, "phases stay within the unbalance limit, 10 % of their mean (CPNS)", load.unbalance),
    Check("sag", SAY, "the peak stays reachable with volts 2 % low (CPNS)", load.sag),
    Check("margin", SAY, "a minimum is set with a margin for a sag of the volts", load.margin),
    Check("unit lost", SAY, "the peak stays reachable without the smallest unit (CPNS)", load.unit_lost),
    Check("check load", SAY, "the meter's transformers can see the check load (CPNS)", load.check_load),
    Check("nothing asked", SAY, "the program asks for load", load.nothing_asked),
    Check("no time", SAY, "the program has a length", load.no_time),
    Check("largest block", SAY, "no step up above the largest block (CPNS)", time.block_up),
    Check("step down", SAY, "no step down above the largest block (CPNS)", time.step_down),
    Check("declared rejection", SAY, "declared load rejections are told", time.rejection_declared),
    Check("steep ramp", SAY, "no ramp moves more than the largest block in a settling time (CPNS)", time.steep_ramp),
    Check("hold unsettled", SAY, "holds are longer than settling", time.hold_unsettled),
    Check("hold unread", SAY, "holds are longer than the reading interval", time.hold_unread),
    Check("band", SAY, "the level of a hold that starts in band lies in it", time.never_in_band),
    Check("trim not measured", SAY, "trim has a meter", time.trim_unmeasured),
    Check("total not measured", SAY, "a total has a meter of the site's load", time.total_unmeasured),
    Check("silent prompt", SAY, "a prompt under load leads to no load if nobody answers", time.silent_go_on),
)


def findings(site: Site, program: Program, plan: Plan) -> tuple[Finding, ...]:
    """All cases that the checks find: refusals first, then in the order of the table."""
    found = [
        Finding(check.key, check.severity, text, leg.number if leg else None, (leg.line or None) if leg else None)
        for check in CHECKS
        for text, leg in check.find(site, program, plan)
    ]
    return tuple(sorted(found, key=lambda finding: finding.severity is not Severity.REFUSAL))
