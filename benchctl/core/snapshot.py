"""One scan as any screen needs it: what of a frame is shown, and how. The nouns stand in `core/shown.py`."""

from collections.abc import Iterable
from typing import Any

from benchctl.core.alarms import first_out, reaction_of
from benchctl.core.decision import Frame, Settings
from benchctl.core.dispatch import chain_target_kw
from benchctl.core.legs import LegKind, length_s
from benchctl.core.levels import load_kw
from benchctl.core.limits import ceiling_kw
from benchctl.core.next_level import next_levels_kw
from benchctl.core.profile import Profile
from benchctl.core.prompts import BY_KIND
from benchctl.core.reading import NO_ELECTRICAL, Maybe
from benchctl.core.readings import due_s
from benchctl.core.seen import Contact, Seen, SeenUnit
from benchctl.core.shown import (
    AlarmShown,
    InstrumentShown,
    LegShown,
    PromptShown,
    Snapshot,
    SourceShown,
    TripShown,
    UnitShown,
)
from benchctl.core.site import Unit
from benchctl.core.state import Alarm, InstrumentState, Mode, Shelved, State, UnitState
from benchctl.core.thermal import reads_cool
from benchctl.core.unit_condition import CONDITIONS

NEVER_S = 1e9  # an age that means "never heard"


def snapshot(
    frame: Frame,
    settings: Settings,
    *,
    energy_kwh: Maybe = None,
    energy_whole: bool = True,
    pace: Maybe = None,
) -> Snapshot:
    """What a screen needs of one scan. settings: those with which the scan was decided; the rest as in Snapshot."""
    state, seen = frame.decision.state, frame.decision.seen
    site = settings.site
    seen_units = seen.units or [_unseen(u, unit) for u, unit in zip(state.units, site.units, strict=True)]
    units = tuple(
        _unit(frame, u, s, unit, site.ambient_c) for u, s, unit in zip(state.units, seen_units, site.units, strict=True)
    )
    loads = [s.load for s in seen_units]
    return Snapshot(
        **_scan(frame),
        **_course(state, settings),
        **_power(state, seen, settings, units),
        loaded=seen.loaded or any(u.possible for u in state.units),
        off=False if any(loads) else None if None in loads else True,
        dropped=state.dropped,
        cool_down_s=max((s.cool_down_s for u, s in zip(state.units, units, strict=True) if u.joined), default=0.0),
        source_cool_down_s=state.source_cool_s,
        source=_source(state, seen, settings),
        units=units,
        instruments=_instruments(state, settings),
        alarms=_alarms(state, settings),
        permissives=frame.decision.permissives,
        overrides=tuple((what, _name(settings, unit), who, why) for what, unit, who, why in state.overrides),
        energy_kwh=energy_kwh,
        energy_whole=energy_whole,
        pace=pace,
    )


def _scan(frame: Frame) -> dict[str, Any]:
    state, seen = frame.decision.state, frame.decision.seen
    return {
        "number": frame.number,
        "wall_s": frame.wall_s,
        "now_s": frame.inputs.now_s,
        "dt_s": frame.inputs.dt_s,
        "gap_s": seen.gap_s,
        "late": seen.late,
        "fault": frame.fault,
        "recorder": frame.inputs.recorder.value,
        "mode": state.mode.value,
        "charge": state.charge,
        "charge_console": state.console,
        "consoles": frame.inputs.consoles,
        "unattended": state.unattended,
        "attached": frame.inputs.attached,
        "alone_s": state.alone_s,
        "person_s": state.person_s,
    }


def _course(state: State, settings: Settings) -> dict[str, Any]:
    leg, prompt, trip = _leg(state, settings), state.prompt, state.trip
    row = BY_KIND[prompt.kind] if prompt else None
    return {
        "program": settings.program.name if settings.program else "",
        "leg": leg,
        "program_s": state.program_s,
        "program_to_go_s": _to_go_s(state, settings, leg),
        "readings": settings.program.readings if settings.program else (),
        "reading_due_s": due_s(state, settings),
        "reading_number": state.reading_number,
        "paused": state.paused,
        "held": state.held,
        "waiting": state.waiting,
        "outcome": state.outcome,
        "trip": TripShown(trip.row, _name(settings, trip.unit), trip.text, trip.segment, trip.program_s)
        if trip
        else None,
        "prompt": PromptShown(prompt.kind, prompt.text, row.yes, row.no, prompt.remaining_s, prompt.if_silent.value)
        if prompt and row
        else None,
    }


def _leg(state: State, settings: Settings) -> LegShown | None:
    """The leg in hand, while a program runs."""
    if state.mode is not Mode.RUN or state.leg >= len(settings.legs):
        return None
    leg = settings.legs[state.leg]
    open_ended = leg.kind in (LegKind.WAIT, LegKind.LOSS)
    return LegShown(
        index=state.leg,
        count=len(settings.legs),
        segment=leg.segment,
        kind=leg.kind.value,
        label=leg.label,
        from_kw=state.from_kw,
        to_kw=leg.to_kw,
        spent_s=state.leg_s,
        to_go_s=None if open_ended else max(0.0, leg.length_s + state.extended_s - state.leg_s),
    )


def _to_go_s(state: State, settings: Settings, leg: LegShown | None) -> Maybe:
    """Program time to go, waits for nobody knows how long not counted; None where no program is ahead."""
    if settings.program is None or state.mode not in (Mode.IDLE, Mode.CHECK, Mode.RUN):
        return None
    if leg is None:
        return length_s(settings.legs) if state.mode is not Mode.RUN else 0.0
    return (leg.to_go_s or 0.0) + length_s(settings.legs[state.leg + 1 :])


def _power(state: State, seen: Seen, settings: Settings, units: tuple[UnitShown, ...]) -> dict[str, Any]:
    read_back = [u.read_back_kw for u in units if u.read_back_kw is not None]
    possible_kw, limit_kw = sum(u.possible_kw for u in units), ceiling_kw(state, seen, settings)
    raise_kw, lower_kw = next_levels_kw(state, seen, settings)
    return {
        "target_kw": state.target_kw,
        "chain_target_kw": chain_target_kw(state, settings),
        "trim_kw": state.trim_kw,
        "short_kw": state.short_kw,
        "commanded_kw": _sum(u.commanded_kw for u in units),
        "read_back_kw": _sum(read_back),
        "read_back_units": len(read_back),
        "delivered_kw": seen.delivered_kw,
        "delivered_from": seen.delivered_from,
        "available_kw": seen.available_kw,
        "possible_kw": possible_kw,
        "rated_kw": settings.rated_kw,
        "ceiling_kw": limit_kw,
        "margin_kw": limit_kw - possible_kw,
        "by_hand": state.by_hand,
        "raise_kw": raise_kw,
        "lower_kw": lower_kw,
    }


def _sum(values: Iterable[Maybe]) -> Maybe:
    known = [v for v in values if v is not None]
    return sum(known) if known else None


def _unseen(u: UnitState, unit: Unit) -> SeenUnit:
    """A unit in a scan that could not be decided: nothing of it is known now but what may be closed."""
    s = SeenUnit(
        Contact.LOST if u.lost else Contact.AGED, u.age_s, u.last, None, None, 1.0, None, unable="the run host failed"
    )
    s.possible_kw = load_kw(unit.profile, u.possible, 1.0)
    return s


def _unit(frame: Frame, u: UnitState, s: SeenUnit, unit: Unit, ambient_c: Maybe) -> UnitShown:
    profile, reading = unit.profile, s.reading
    cool = reads_cool(profile.cooldown, reading, ambient_c)
    ratio = 1.0 if s.volts_v is None else s.ratio
    load, wanted = s.load, 0 if frame.fault else u.wanted
    ours = bool(frame.decision.state.charge) or frame.decision.state.dropped or bool(frame.fault)
    closed = None if load is None else _names(profile, load)
    return UnitShown(
        name=unit.name,
        condition=next(c.word for c in CONDITIONS if c.holds(u, s, cool)),
        unable=s.unable,
        found=u.found,
        joined=u.joined,
        remote=reading.remote,
        age_s=_age_s(u.age_s),
        commanded_kw=load_kw(profile, wanted, ratio) if ours and u.heard else None,
        read_back_kw=None if load is None else load_kw(profile, load, ratio),
        measured_kw=s.power_kw,
        possible_kw=s.possible_kw,
        rated_kw=profile.rated_kw,
        stages=len(profile.stages),
        closed=closed if profile.stages else None,
        exhaust_c=reading.exhaust_c,
        inlet_c=reading.inlet_c,
        fan_ordered=u.fan or bool(frame.fault),
        fan_on=reading.fan_on,
        airflow=reading.airflow,
        cool_down_s=max(u.owed_s, u.near_s) if u.hot else 0.0,
        faults=tuple(f.text for bit, f in enumerate(profile.faults) if reading.faults >> bit & 1),
        ordered=_names(profile, wanted) if ours and u.heard and profile.stages else None,
    )


def _names(profile: Profile, load: int) -> tuple[str, ...]:
    return tuple(stage.name for i, stage in enumerate(profile.stages) if load >> i & 1)


def _age_s(age_s: float) -> Maybe:
    return None if age_s >= NEVER_S else age_s


def _source(state: State, seen: Seen, settings: Settings) -> SourceShown:
    e = seen.source
    return SourceShown(
        told_by=seen.source_from,
        age_s=_source_age_s(state, seen, settings),
        frozen=seen.source_frozen,
        volts_v=seen.volts_v,
        volts_ll=e.volts_ll,
        volts_ln=e.volts_ln,
        amps=e.amps,
        phase_kw=e.phase_kw,
        power_kw=seen.source_kw,
        reactive_kvar=e.reactive_kvar,
        power_factor=e.power_factor,
        hertz=seen.hertz,
        hertz_fault=seen.hertz_fault,
        site_kw=seen.site_kw,
    )


def _source_age_s(state: State, seen: Seen, settings: Settings) -> Maybe:
    """Age of the measurement that is shown; of the source's own meter where none is."""
    if seen.source is NO_ELECTRICAL:
        return _age_s(seen.source_age_s)
    kept: tuple[InstrumentState | UnitState, ...] = (*state.instruments, *state.units)
    return next((_age_s(k.age_s) for k in kept if k.last.electrical is seen.source), None)


def _instruments(state: State, settings: Settings) -> tuple[InstrumentShown, ...]:
    return tuple(
        InstrumentShown(
            name=instrument.name,
            role=instrument.role,
            place=instrument.place,
            age_s=_age_s(kept.age_s),
            power_kw=kept.last.electrical.total_kw,
            speed_rpm=kept.last.speed_rpm,
            oil_kpa=kept.last.oil_kpa,
            coolant_c=kept.last.coolant_c,
            fuel_percent=kept.last.fuel_percent,
            battery_v=kept.last.battery_v,
            set_running=kept.last.set_running,
            set_fault=kept.last.set_fault,
        )
        for instrument, kept in zip(settings.site.instruments, state.instruments, strict=True)
    )


def _alarms(state: State, settings: Settings) -> tuple[AlarmShown, ...]:
    """Alarms that stand or are shelved, the first first; those that only wait for their delay are not shown."""
    first, shelved = first_out(state), {(s.row, s.unit): s for s in state.shelved}
    standing = {k: a for k, a in state.alarms.items() if a.active or a.latched or not a.acknowledged or k in shelved}
    resting = [Alarm(s.row, s.unit, text=s.text) for key, s in shelved.items() if key not in standing]
    rows = sorted([*standing.values(), *resting], key=lambda a: (a.order, a.unit, a.row))
    return tuple(_alarm(a, a in first, shelved.get((a.row, a.unit)), settings) for a in rows)


def _alarm(alarm: Alarm, is_first: bool, shelved: Shelved | None, settings: Settings) -> AlarmShown:
    return AlarmShown(
        row=alarm.row,
        unit=_name(settings, alarm.unit),
        text=alarm.text,
        reaction=reaction_of(alarm.row, alarm.unit, settings).value,
        active=alarm.active and shelved is None,
        acknowledged=alarm.acknowledged or shelved is not None,
        latched=alarm.latched,
        first_out=is_first,
        count=alarm.count,
        shelved_s=shelved.left_s if shelved else 0.0,
        shelved_by=shelved.who if shelved else "",
        shelved_why=shelved.why if shelved else "",
    )


def _name(settings: Settings, unit: int) -> str:
    return settings.site.units[unit].name if unit >= 0 else ""
