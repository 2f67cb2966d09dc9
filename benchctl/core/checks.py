"""The way through the CHECK mode: permissives, then the check load of each unit, then each stage alone if asked for.

Each trial reads before, on and after; the trials' loads go through dispatch and guard like any other.
"""

from benchctl.core.checkload import Judged, Sample, judge, line_to_neutral_fault, sample_of
from benchctl.core.choose import choose
from benchctl.core.course import begin_leg
from benchctl.core.decision import Event, Settings
from benchctl.core.elements import set_health
from benchctl.core.levels import offer, phase_kw
from benchctl.core.limits import usable
from benchctl.core.meters import fresh
from benchctl.core.permissives import permissives
from benchctl.core.program import Rounding
from benchctl.core.prompts import ask
from benchctl.core.reading import Electrical, Maybe
from benchctl.core.seen import Contact, Seen
from benchctl.core.site import Site
from benchctl.core.state import CheckState, Mode, Result, State, Trial

READY_S = 60.0  # beyond the fans' own times; then the operator is asked: common practice, no source
AVERAGE_S = 3.0
TRIAL_S = 40.0  # a step that takes longer is given up
TRIES = 3
UNKNOWN = -1e12  # marks a sum that lacks a value; no power is ever near it


def check_step(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    """Move the checks on by one scan. Works on `state`."""
    check = state.check
    if state.held:
        return
    if check.index < 0:
        _wait_for_permissives(state, seen, settings, dt_s, events)
        return
    if state.prompt is not None:
        return
    trials = trial_list(settings)
    while check.index < len(trials) and not _can_try(state, seen, trials[check.index]):
        check = state.check = CheckState(index=check.index + 1, results=check.results)  # its load is no other unit's
    if check.index >= len(trials):
        _begin_program(state, settings, events)
        return
    unit, stage = trials[check.index]
    _trial_step(state, seen, settings, unit, stage, dt_s, events)


def trial_list(settings: Settings) -> tuple[tuple[int, int], ...]:
    """(unit, stage) of all trials of a program; stage -1 is the unit's check load."""
    program = settings.program
    if program is None:
        return ()
    units = range(len(settings.site.units))
    loads = [(u, -1) for u in units] if program.check_load else []
    stages = [(u, s) for u in units for s in range(len(settings.site.units[u].profile.stages))]
    return (*loads, *(stages if program.stage_check else ()))


def _can_try(state: State, seen: Seen, trial: tuple[int, int]) -> bool:
    u = state.units[trial[0]]
    return u.joined and not u.out and not u.lost


def _wait_for_permissives(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    rows = permissives(state, seen, settings)
    if all(held is True for _, held in rows):
        state.check.index, state.check.waited_s = 0, 0.0
        events.append(Event("ready", "all permissives hold"))
        return
    state.check.waited_s += dt_s
    fans_s = sum(settings.site.limits.fan_start_gap_s for _ in settings.site.units)
    longest_s = max(u.profile.fan.proof_s for u in settings.site.units)
    if state.check.waited_s >= READY_S + fans_s + longest_s and state.prompt is None:
        missing = "; ".join(text for text, held in rows if held is not True)
        ask(state, settings, "permissives", f"not ready: {missing}. Wait on?", events)


def _begin_program(state: State, settings: Settings, events: list[Event]) -> None:
    state.mode, state.leg, state.target_kw = Mode.RUN, 0, 0.0
    begin_leg(state)
    state.check.load = 0
    events.append(Event("program", "checks are through, the program begins"))
    if settings.legs:
        leg = settings.legs[0]
        events.append(
            Event(
                "segment",
                f"segment {leg.segment}: {leg.label or leg.kind.value}",
                data=(("segment", leg.segment), ("leg", 0)),
            )
        )


def _gauge(
    state: State, seen: Seen, settings: Settings, unit: int, stage: int
) -> tuple[Electrical, Maybe, float] | None:
    """(measurement, rating of the transformers in kW, refresh in s) that judges a trial.

    A meter outside of the units proves the wiring; a stage is judged by its unit's own meter where there is one.
    """
    site = settings.site
    own = seen.units[unit]
    if stage >= 0 and own.reading.power_reading and own.contact is Contact.FRESH:
        return own.reading.electrical, None, site.units[unit].profile.meter_refresh_s
    for place in ("source", "chain"):
        for kept, instrument in zip(state.instruments, site.instruments, strict=True):
            if instrument.place == place and fresh(kept, instrument, site.limits.stale_s):
                return kept.last.electrical, _ct_kw(site, instrument.ct_primary_a), instrument.refresh_s
    if own.reading.power_reading and own.contact is Contact.FRESH:
        return own.reading.electrical, None, site.units[unit].profile.meter_refresh_s
    return None


def _ct_kw(site: Site, primary_a: Maybe) -> Maybe:
    if primary_a is None:
        return None
    plate = site.nameplate
    return primary_a * plate.volts * (3.0**0.5 if len(plate.wiring.phases) == 3 else 1.0) / 1000.0


def _trial_step(
    state: State, seen: Seen, settings: Settings, unit: int, stage: int, dt_s: float, events: list[Event]
) -> None:
    """One scan of one trial: settle, average, next step; after the third step, judge."""
    check, u, s = state.check, state.units[unit], seen.units[unit]
    profile = settings.site.units[unit].profile
    check.wait_s += dt_s
    unclosed = u.unclosed & check.load if profile.stages else u.unclosed
    if check.step == 1 and check.load and unclosed and u.follow_s == 0.0:
        fault = Judged(Result.NOT_DEMONSTRATED, "the load did not come on")
        _finish(state, settings, unit, stage, fault, 0.0, events)  # asked for again it would be closed again
        return
    gauge = _gauge(state, seen, settings, unit, stage)
    if check.step == 1 and check.load == 0:
        check.load = _trial_load(state, seen, settings, unit, stage)
    expected_load = check.load if check.step == 1 else 0
    settled = s.load == expected_load and u.follow_s == 0.0
    refresh_s = gauge[2] if gauge else 1.0
    settle_s = 2.0 * refresh_s + profile.follow_s
    if not settled:
        check.count = 0
        if check.wait_s > TRIAL_S:
            _finish(
                state,
                settings,
                unit,
                stage,
                Judged(Result.NOT_DEMONSTRATED, "the load did not come or go"),
                0.0,
                events,
            )
        return
    check.waited_s += dt_s
    if check.waited_s < settle_s:
        return
    if gauge is not None:
        _add(check, sample_of(gauge[0]))
    if check.waited_s < settle_s + AVERAGE_S:
        return
    if check.step < 2:
        check.step += 1
        check.wait_s = check.waited_s = 0.0
        check.count = 0
        return
    _judge(state, seen, settings, unit, stage, gauge, events)


def _trial_load(state: State, seen: Seen, settings: Settings, unit: int, stage: int) -> int:
    """The load of a trial: one stage, or about a tenth of the nameplate and never less than the meter can see."""
    if stage >= 0:
        return 1 << stage
    profile, site = settings.site.units[unit].profile, settings.site
    ct_kw = max(
        (_ct_kw(site, i.ct_primary_a) or 0.0 for i in site.instruments if i.place in ("source", "chain")), default=0.0
    )
    wanted_kw = max(site.nameplate.power_kw * site.limits.check_load_percent / 100.0, 0.09 * ct_kw)
    chosen = choose(
        (offer(profile, usable(state.units[unit], profile), seen.units[unit].ratio),), (0,), wanted_kw, Rounding.NEAREST
    )
    return chosen.loads[0]


def _add(check: CheckState, sample: Sample) -> None:
    """Add a sample to the sums of its step, five figures a step; a figure that is missing once spoils the sum."""
    figures = (*sample.phase_kw, sample.power_kw, sample.reactive_kvar)
    start = 5 * check.step
    sums = list(check.sums) if check.sums else [0.0] * 15
    if check.count == 0:
        sums[start : start + 5] = [0.0] * 5
    for i, figure in enumerate(figures, start):
        sums[i] = UNKNOWN if figure is None or sums[i] == UNKNOWN else sums[i] + figure
    check.sums, check.count = tuple(sums), check.count + 1
    counts = [*check.counts]
    counts[check.step] = check.count
    check.counts = (counts[0], counts[1], counts[2])


def _means(check: CheckState) -> tuple[Sample, Sample, Sample]:
    def sample(step: int) -> Sample:
        values = [None if v == UNKNOWN else v / check.counts[step] for v in check.sums[5 * step : 5 * step + 5]]
        return Sample((values[0], values[1], values[2]), values[3], values[4])

    return sample(0), sample(1), sample(2)


def _judge(
    state: State,
    seen: Seen,
    settings: Settings,
    unit: int,
    stage: int,
    gauge: tuple[Electrical, Maybe, float] | None,
    events: list[Event],
) -> None:
    check, site = state.check, settings.site
    profile = site.units[unit].profile
    load = 1 << stage if stage >= 0 else check.load
    expected = phase_kw(profile, load, seen.units[unit].ratio)
    if gauge is None or not check.sums or 0 in check.counts:
        judged = Judged(Result.NOT_DEMONSTRATED, "no meter told it")
    else:
        judged = judge(expected, *_means(check), site.limits, gauge[1])
        fault = line_to_neutral_fault(gauge[0]) if site.nameplate.wiring.has_neutral else ""
        if judged.result is Result.PASS and fault:
            judged = Judged(Result.FAIL, fault, judged.measured_kw)
        if judged.drifts and check.tries + 1 < TRIES:
            _again(check)
            return
    _finish(state, settings, unit, stage, judged, sum(expected), events)


def _again(check: CheckState) -> None:
    check.tries += 1
    check.step, check.load, check.count = 0, 0, 0
    check.wait_s = check.waited_s = 0.0


def _finish(
    state: State, settings: Settings, unit: int, stage: int, judged: Judged, expected_kw: float, events: list[Event]
) -> None:
    """Note a trial's result; a failed check load asks, a failed stage goes into the health map."""
    check, profile = state.check, settings.site.units[unit].profile
    name = settings.site.units[unit].name
    what = "check load" if stage < 0 else f"stage {profile.stages[stage].name}"
    trial = Trial(unit, stage, judged.result, judged.text, expected_kw, judged.measured_kw)
    if stage >= 0 and judged.result is Result.FAIL:
        _note_health(state, settings, unit, stage)
    check.results = (*check.results, trial)
    check.tries = 0
    check.step, check.load, check.count, check.sums, check.counts = 0, 0, 0, (), (0, 0, 0)
    check.wait_s = check.waited_s = 0.0
    events.append(
        Event(
            "check",
            f"{name} {what}: {judged.result.value}, {judged.text}",
            unit,
            data=(("result", judged.result.value), ("expected_kw", expected_kw), ("measured_kw", judged.measured_kw)),
        )
    )
    overridden = any(o[0] == "check load" for o in state.overrides)
    if stage < 0 and judged.result is not Result.PASS and not overridden:
        ask(state, settings, "check", f"{name} check load {judged.result.value}: {judged.text}. Go on?", events)
    else:
        check.index += 1


def _note_health(state: State, settings: Settings, unit: int, stage: int) -> None:
    """What the stage gave on each phase of the means just taken, as a share of rated, where it clearly gave less."""
    before, on, after = _means(state.check)
    profile = settings.site.units[unit].profile
    for phase in range(3):
        rated = profile.stages[stage].phase_kw[phase]
        values = (on.phase_kw[phase], before.phase_kw[phase], after.phase_kw[phase])
        if rated <= 0.0 or None in values:
            continue
        change = values[0] - (values[1] + values[2]) / 2.0  # type: ignore[operator]
        share = change / rated
        if share < 0.85:
            set_health(state.units[unit], profile, stage, phase, round(max(0.0, share), 2) if share > 0.05 else 0.0)
