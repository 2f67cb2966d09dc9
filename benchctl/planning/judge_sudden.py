"""Sudden changes of load: are they planned, may the site take them, and can its meters see what follows."""

from benchctl.core.criteria import span
from benchctl.core.legs import LegKind
from benchctl.core.ruleset import Direction, Transient
from benchctl.planning.judge_course import FINE_KW, Scene, Span
from benchctl.planning.judge_load import Found, own_load
from benchctl.planning.judge_seen import COLUMN, tells
from benchctl.planning.judged import Standing
from benchctl.planning.plan import PlannedLeg

CYCLES = 1.05  # values at most so far apart are refreshed each cycle (IEC 61000-4-30, from memory)


def transient(scene: Scene, rule: Transient) -> Found:
    """A planned change that is large enough, time after it, and values that come often enough."""
    change = next((leg for leg in scene.plan.legs if _counts(scene, rule, leg)), None)
    if change is None:
        return *_none(scene, rule), None
    after_s = _after_s(scene, change)
    if after_s < rule.recovery_s - FINE_KW:
        why = f"row {change.number} is followed by {span(after_s)} only; recovery may take {span(rule.recovery_s)}"
        return Standing.NOT, why, None
    where = Span(change.start_s, change.start_s)
    if not tells(scene, COLUMN[rule.quantity]):
        return Standing.CANNOT, f"no meter at the source tells {rule.quantity.value}", where
    every_s = scene.sampling_s
    blind = []
    if every_s > rule.recovery_s:
        blind.append(f"a recovery within {span(rule.recovery_s)}")
    if every_s > CYCLES / scene.site.nameplate.hertz:
        blind.append("the largest deviation, which lies between two of them")
    if blind:
        why = (
            f"new values come each {every_s:g} s and cannot prove {', nor '.join(blind)}: a capture of the waveform can"
        )
        return Standing.CANNOT, why, where
    return Standing.SATISFIED, f"row {change.number}; new values come each {every_s:g} s", where


def moved_percent(scene: Scene, leg: PlannedLeg) -> float:
    """How much of the nameplate a leg moves at once; 0 for a leg that moves nothing at once."""
    at_once = leg.kind is not LegKind.RAMP or leg.length_s <= 0.0
    return 100.0 * leg.change_kw / scene.nameplate_kw if at_once and leg.kind is not LegKind.LOSS else 0.0


def _counts(scene: Scene, rule: Transient, leg: PlannedLeg) -> bool:
    moved = moved_percent(scene, leg)
    if rule.direction is Direction.UP:
        most = scene.site.limits.largest_block_up_percent
        return moved >= rule.step_percent - FINE_KW and moved <= most + FINE_KW
    return -moved >= rule.step_percent - FINE_KW


def _after_s(scene: Scene, change: PlannedLeg) -> float:
    """Time at one level from a change on."""
    total_s = change.length_s
    for leg in scene.plan.legs[change.number :]:
        if leg.kind is not LegKind.HOLD or leg.change_kw:
            break
        total_s += leg.length_s
    else:
        total_s += scene.program.source_cooldown_s or 0.0
    return total_s


def _none(scene: Scene, rule: Transient) -> tuple[Standing, str]:
    """No change counts: because the site does not allow it, or because the program does not ask for it."""
    limits = scene.site.limits
    asked = f"steps from {rule.step_percent:g} % of nameplate on are judged"
    if rule.direction is Direction.UP and limits.largest_block_up_percent < rule.step_percent:
        return Standing.CANNOT, f"{asked}; the site's largest block up is {limits.largest_block_up_percent:g} %"
    largest = max((-moved_percent(scene, leg) for leg in scene.plan.legs), default=0.0)
    with_own = largest + 100.0 * scene.site.site_load_reserve_kw / scene.nameplate_kw
    if rule.direction is Direction.DOWN and largest > 0.0 and with_own >= rule.step_percent - FINE_KW:
        return Standing.CANNOT, f"{asked}; the largest planned is {largest:.1f} %: {own_load(scene)}"
    return Standing.NOT, f"{asked}; the program has none with {rule.direction.value}"
