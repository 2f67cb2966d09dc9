"""Third rung: the program clock. It moves the target; it moves nothing else.

Program time counts only while a leg really runs: pause, prompts, waiting for a band, for the operator or the
supply, and a hole in time stop it. A boundary belongs to the next leg. The target of a ramp is computed from its
ends each scan, never added up, and its end is assigned. Two blocks never fall into one scan.
"""

from benchctl.core import readings
from benchctl.core.checks import check_step
from benchctl.core.course import answered, begin_leg, unload
from benchctl.core.decision import Event, Settings
from benchctl.core.legs import Leg, LegKind
from benchctl.core.limits import DEAD_STAGES
from benchctl.core.program import Rounding, Silence, Starts
from benchctl.core.prompts import ask
from benchctl.core.seen import Seen
from benchctl.core.state import Mode, State

EPSILON_S = 1e-9
OPEN_BREAKERS = "no contact with {}: open their breakers if they still have load on"
MAX_STEP_S = 2.0  # program time that one scan may add at most: nothing catches up


def advance(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    """Move prompt, check, program, unload or cool-down on by one scan. Works on `state`."""
    dt_s = 0.0 if seen.gap_s else min(dt_s, MAX_STEP_S)
    state.block_s = max(0.0, state.block_s - dt_s)
    _prompt(state, seen, settings, dt_s, events)
    if state.mode is Mode.CHECK:
        check_step(state, seen, settings, dt_s, events)
    elif state.mode is Mode.RUN:
        _run(state, seen, settings, dt_s, events)
    elif state.mode is Mode.UNLOAD:
        _unload_step(state, seen, settings, dt_s, events)
    elif state.mode is Mode.COOL:
        _cool(state, seen, settings, dt_s, events)
    readings.close(state, events)


def _prompt(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    """Count an open question down, and do what it says when nobody answers."""
    prompt = state.prompt
    if prompt is None or prompt.kind == "found":  # that one's clock is the next rung's
        return
    remaining_s = max(0.0, prompt.remaining_s - dt_s)
    state.prompt = type(prompt)(prompt.kind, prompt.text, remaining_s, prompt.if_silent)
    if remaining_s > 0.0 or prompt.if_silent is Silence.STAY:
        return
    events.append(Event("unanswered", f"nobody answered: {prompt.if_silent.value}", data=(("prompt", prompt.kind),)))
    if prompt.if_silent is Silence.GO_ON and answered(state, seen, settings, yes=True) == "":
        return
    unload(state, seen, settings, "interrupted")


def _run(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    if state.paused or state.held or state.prompt is not None:
        state.paused_s += dt_s if state.paused else 0.0
        if state.prompt is not None and state.prompt.kind in ("wait", "loss", "band"):
            state.waited_s += dt_s
        return
    left_s, blocked = dt_s, False
    while state.leg < len(settings.legs):
        leg = settings.legs[state.leg]
        if leg.kind in (LegKind.BLOCK, LegKind.DROP):
            if blocked:
                return
            blocked = True
        before_s = state.leg_s
        used_s = LEGS[leg.kind](state, leg, seen, settings, left_s, events)
        if used_s is None:
            return
        readings.count(state, leg, settings, before_s, used_s, events)
        state.program_s += used_s
        left_s -= used_s
        if not _over(state, leg):
            return
        state.leg += 1
        begin_leg(state)
        _announce(state, settings, events)
    unload(state, seen, settings, "completed")
    events.append(Event("program", "the program is through"))


def _announce(state: State, settings: Settings, events: list[Event]) -> None:
    if state.leg < len(settings.legs):
        leg = settings.legs[state.leg]
        to = "" if leg.to_kw is None else f" {leg.to_kw:.0f} kW"
        events.append(
            Event(
                "segment",
                f"segment {leg.segment}: {leg.label or leg.kind.value}{to}",
                data=(("segment", leg.segment), ("leg", state.leg)),
            )
        )


def _over(state: State, leg: Leg) -> bool:
    """True when the leg is through; waiting legs say so by phase 3."""
    if leg.kind in (LegKind.WAIT, LegKind.LOSS):
        return state.phase == 3
    return state.leg_s >= leg.length_s + state.extended_s - EPSILON_S


def _ramp(state: State, leg: Leg, seen: Seen, settings: Settings, left_s: float, events: list[Event]) -> float:
    assert leg.to_kw is not None
    used_s = min(left_s, leg.length_s - state.leg_s)
    state.leg_s += used_s
    if state.leg_s >= leg.length_s - EPSILON_S:
        state.leg_s, state.target_kw = leg.length_s, leg.to_kw
    else:
        state.target_kw = state.from_kw + (leg.to_kw - state.from_kw) * state.leg_s / leg.length_s
    return used_s


def _hold(state: State, leg: Leg, seen: Seen, settings: Settings, left_s: float, events: list[Event]) -> float | None:
    if leg.to_kw is not None:
        state.target_kw = leg.to_kw
    if (
        leg.starts is Starts.IN_BAND
        and state.leg_s == 0.0
        and state.phase != 3
        and not in_band(state, leg, seen, settings)
    ):
        state.waiting = True
        state.waited_s += left_s
        assert settings.program is not None
        if state.waited_s >= settings.program.hold_start_timeout_s:
            ask(
                state,
                settings,
                "band",
                f"segment {leg.segment}: not in band for {state.waited_s:.0f} s. Start the hold?",
                events,
            )
        return None
    state.waiting = False
    used_s = min(left_s, leg.length_s + state.extended_s - state.leg_s)
    state.leg_s += used_s
    return used_s


def _block(state: State, leg: Leg, seen: Seen, settings: Settings, left_s: float, events: list[Event]) -> float:
    assert leg.to_kw is not None
    state.target_kw = leg.to_kw
    return 0.0


def _wait(state: State, leg: Leg, seen: Seen, settings: Settings, left_s: float, events: list[Event]) -> float | None:
    if state.phase == 3:
        return 0.0
    state.waiting = True
    ask(state, settings, "wait", leg.prompt, events, open_s=leg.timeout_s, if_silent=leg.if_silent)
    return None


def _loss(state: State, leg: Leg, seen: Seen, settings: Settings, left_s: float, events: list[Event]) -> float | None:
    """Supply is expected to go. phase 0: awaited; 1: gone; 2: back, and load goes on again in steps; 3: through.

    from_kw keeps the load from before; leg_s counts how long volts and hertz have held, then the time between steps.
    """
    plate, limits = settings.site.nameplate, settings.site.limits
    volts = seen.volts_v
    gone = volts is not None and volts < plate.volts * limits.volts_present_percent / 100.0
    state.waiting = state.phase < 3
    if state.phase == 0:
        state.waited_s += left_s
        if gone:
            state.phase, state.leg_s = 1, 0.0
            state.target_kw = 0.0 if leg.reapply else state.target_kw
            events.append(Event("supply", "supply lost, as expected"))
        elif state.waited_s >= leg.timeout_s:
            ask(
                state,
                settings,
                "loss",
                f"segment {leg.segment}: no loss of supply within {leg.timeout_s:.0f} s. Go on?",
                events,
            )
        return None
    if state.phase == 1:
        good = (
            volts is not None
            and abs(volts / plate.volts - 1.0) <= limits.volts_trip_percent / 100.0
            and seen.hertz is not None
            and abs(seen.hertz / plate.hertz - 1.0) <= limits.hertz_warn_percent / 100.0
        )
        state.leg_s = state.leg_s + left_s if good else 0.0
        if state.leg_s >= leg.held_s:
            state.phase, state.leg_s = (2, leg.step_s) if leg.reapply else (3, 0.0)
            events.append(Event("supply", f"supply back, volts and hertz held for {leg.held_s:.0f} s"))
        return None if state.phase < 3 else 0.0
    if state.phase == 2:
        state.leg_s += left_s
        if state.leg_s >= leg.step_s:
            state.leg_s = 0.0
            state.target_kw = min(state.from_kw, state.target_kw + leg.step_kw)
        if state.target_kw < state.from_kw:
            return None
        state.phase = 3
    state.waiting = False
    return 0.0


LEGS = {
    LegKind.RAMP: _ramp,
    LegKind.HOLD: _hold,
    LegKind.BLOCK: _block,
    LegKind.DROP: _block,
    LegKind.WAIT: _wait,
    LegKind.LOSS: _loss,
}


def band_kw(leg_percent: float | None, target_kw: float, settings: Settings) -> tuple[float, float]:
    """Lowest and highest kW that count as in band: never finer than 3/4 of the smallest stage; one-sided for minima."""
    limits = settings.site.limits
    share = limits.hold_band_percent if leg_percent is None else leg_percent
    stage_kw = settings.stage_kw
    if settings.program is not None and settings.program.rounding is Rounding.AT_LEAST:
        return target_kw, target_kw + max(0.05 * target_kw, stage_kw)
    half_kw = max(target_kw * share / 100.0, DEAD_STAGES * stage_kw)
    return target_kw - half_kw, target_kw + half_kw


def in_band(state: State, leg: Leg, seen: Seen, settings: Settings) -> bool:
    """True when the kW that the target counts is known and within the hold's band."""
    measured_kw = seen.source_kw if settings.counts_source else seen.delivered_kw
    low_kw, high_kw = band_kw(leg.band_percent, state.target_kw, settings)
    return measured_kw is not None and low_kw <= measured_kw <= high_kw


def _unload_step(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    """Take a share of the nameplate off each step; then cool down."""
    limits = settings.site.limits
    state.unload_s -= dt_s
    if state.unload_s <= EPSILON_S:
        step_s = limits.fast_unload_s / 4.0 if state.unload_fast else limits.unload_step_s
        state.unload_s = step_s
        state.target_kw = max(
            0.0, state.target_kw - settings.site.nameplate.power_kw * limits.unload_step_percent / 100.0
        )
    if state.target_kw <= 0.0 and not any(u.possible and u.joined for u in state.units):
        state.mode, state.unload_fast = Mode.COOL, False
        events.append(Event("unloaded", f"{_off(state, settings)}; cooling down"))


def _silent(state: State, settings: Settings) -> str:
    """Names of units that were lost with load that may still be on; nobody can say that it is off."""
    units = zip(state.units, settings.site.units, strict=True)
    return ", ".join(unit.name for u, unit in units if u.lost and u.possible)


def _off(state: State, settings: Settings) -> str:
    """What can be said of the load when all that is ours is off."""
    silent = _silent(state, settings)
    return f"all load that answers is off; {OPEN_BREAKERS.format(silent)}" if silent else "all load is off"


def _cool(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    """Wait for the units' debts and for the source's time at no load; the source never ends before the units."""
    present = seen.volts_v is None or seen.volts_v > 0.0
    open_load = any(u.possible and u.joined for u in state.units)  # what a lost unit has, nobody can wait for
    if present and not open_load:
        state.source_cool_s = max(0.0, state.source_cool_s - dt_s)
    if open_load or state.source_cool_s > 0.0 or any(u.hot and u.joined for u in state.units):
        return
    state.mode = Mode.DONE
    state.outcome = state.outcome or state.after_unload
    silent = _silent(state, settings)
    cool = f"all units that answer are cool; {OPEN_BREAKERS.format(silent)}" if silent else "all units are cool"
    events.append(Event("done", f"{state.outcome or 'over'}: {cool}"))
