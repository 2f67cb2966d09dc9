"""Answers of one device → its reading. Pure.

What is not valid is None and never zero; a value that was there but cannot be true is None and named in
`suspect`.
"""

from dataclasses import dataclass

from benchctl.core.profile import Profile
from benchctl.core.reading import NO_ELECTRICAL, NONE3, Electrical, InstrumentReading, Three, UnitReading
from benchctl.core.site import Instrument, Nameplate, Unit, Wiring
from benchctl.field.answer import Answers, outcome
from benchctl.field.bits import Gather, collect
from benchctl.field.decoder import Decoder, Values, decode, instrument_decoder, unit_decoder

NO_CURRENT_A = 0.01  # below it a power factor is noise
ONE = 1.0 + 1e-6  # a power factor of 1 in float32 may round to a little more
HERTZ_SHARE = (0.5, 1.5)  # of nominal; no set runs outside, so it is the measurement that is wrong
POWER_SHARE = 3.0  # of nameplate kVA; a nearer bound would hide a true overload from the trips
SCALED_BY_CT = (
    "power_kw",
    "reactive_kvar",
    "apparent_kva",
    "energy_kwh",
    "amps_a",
    "amps_b",
    "amps_c",
    "power_a_kw",
    "power_b_kw",
    "power_c_kw",
)
POWERS = ("power_kw", "reactive_kvar", "apparent_kva", "power_a_kw", "power_b_kw", "power_c_kw")


@dataclass(frozen=True, slots=True)
class Basis:
    """What is nominal at a place, against which a measurement is judged. A figure of 0 judges nothing."""

    present_ll_v: float = 0.0  # volts below which hertz mean nothing
    present_ln_v: float = 0.0
    hertz: float = 0.0
    apparent_kva: float = 0.0


NO_BASIS = Basis()


def basis(nameplate: Nameplate, volts_present_percent: float) -> Basis:
    """The basis of a site's source; volts are present from that percentage of nominal on."""
    share, root3 = volts_present_percent / 100.0, 3.0**0.5
    line, neutral = {
        Wiring.SINGLE_PHASE_2W: (root3, 1.0),
        Wiring.SINGLE_PHASE_3W: (1.0, 0.5),
    }.get(nameplate.wiring, (1.0, 1.0 / root3))
    volts = share * nameplate.volts
    return Basis(volts * line, volts * neutral, nameplate.hertz, nameplate.apparent_kva)


def decode_unit(unit: Unit, answers: Answers, nominal: Basis = NO_BASIS) -> UnitReading:
    """A unit's reading of one scan. answers: one per block of its plan, or fewer from the end."""
    profile = unit.profile
    ready = unit_decoder(profile)
    found = decode(ready, answers)
    values, flag, suspect = found.values, found.flags.get, found.suspect
    faults, faults_known = collect(ready.faults, answers) if ready.faults else (0, 0)
    load, load_order = loads(profile, ready, answers, values)
    electrical = measured(values, suspect, nominal)
    return UnitReading(
        outcome(answers, ready.always),
        load,
        load_order,
        flag("remote"),
        flag("fan_on"),
        flag("airflow"),
        flag("fan_supply"),
        flag("emergency_stop"),
        flag("site_needs_set"),
        values.get("inlet_c"),
        values.get("exhaust_c"),
        values.get("uptime_s"),
        found.texts.get("serial"),
        found.identity_ok,
        faults,
        faults_known,
        electrical,
        tuple(suspect),
        electrical is not NO_ELECTRICAL,
    )


def decode_instrument(
    instrument: Instrument,
    answers: Answers,
    nominal: Basis = NO_BASIS,
) -> InstrumentReading:
    """An instrument's reading of one scan; the current transformer's ratio where the meter does not apply it."""
    ready = instrument_decoder(instrument.registers)
    found = decode(ready, answers)
    values, flag, suspect = found.values, found.flags.get, found.suspect
    ratio = instrument.ct_ratio
    if ratio != 1.0:
        for name in SCALED_BY_CT:
            if name in values:
                values[name] *= ratio
    return InstrumentReading(
        outcome(answers, ready.always),
        measured(values, suspect, nominal),
        values.get("speed_rpm"),
        values.get("oil_kpa"),
        values.get("coolant_c"),
        values.get("fuel_percent"),
        values.get("battery_v"),
        flag("set_running"),
        flag("set_fault"),
        flag("site_needs_set"),
        found.texts.get("serial"),
        found.identity_ok,
        values.get("uptime_s"),
        tuple(suspect),
    )


def loads(
    profile: Profile,
    ready: Decoder,
    answers: Answers,
    values: Values,
) -> tuple[int | None, int | None]:
    """(load read back, load as ordered) of a unit; None where any stage of it is not known."""
    if profile.setpoint is not None:
        resolution = profile.setpoint.resolution_kw
        order = _steps(values.get("setpoint_kw"), resolution)
        force = profile.registers.point("setpoint_in_force_kw")
        return (order if force is None else _steps(values.get("setpoint_in_force_kw"), resolution)), order
    every = (1 << len(profile.stages)) - 1
    return (
        _mask(values.get("stages_closed"), ready.stages, answers, every),
        _mask(values.get("stages_order"), ready.orders, answers, every),
    )


def _mask(whole: float | None, bits: Gather | None, answers: Answers, every: int) -> int | None:
    """A mask of stages from single bits, from a mask register, or from both where each gives a part."""
    if bits is None:
        return None if whole is None else int(whole) & every
    value, known = collect(bits, answers)
    if bits.wanted != every and whole is not None:
        value, known = value | int(whole) & every & ~bits.wanted, known | every & ~bits.wanted
    return value if known == every else None


def _steps(kw: float | None, resolution_kw: float) -> int | None:
    """A set point in steps of its resolution; what is above nothing is at least one step."""
    if kw is None:
        return None
    return max(int(kw / resolution_kw + 0.5), 1 if kw > 1e-3 * resolution_kw else 0)


def measured(values: Values, suspect: list[str], nominal: Basis) -> Electrical:
    """The measurement among named values. Judges hertz by volts, power factor by amps, kW by nameplate."""
    get = values.get
    volts_ll: Three = (get("volts_ab"), get("volts_bc"), get("volts_ca"))
    volts_ln: Three = (get("volts_a"), get("volts_b"), get("volts_c"))
    amps: Three = (get("amps_a"), get("amps_b"), get("amps_c"))
    if nominal.apparent_kva:
        _judge_powers(values, suspect, POWER_SHARE * nominal.apparent_kva)
    hertz, factor, count = get("hertz"), get("power_factor"), get("refresh_count")
    if hertz is not None:
        hertz = _hertz(hertz, volts_ll, volts_ln, suspect, nominal)
    if factor is not None:
        factor = _power_factor(factor, amps, suspect)
    phase_kw: Three = (get("power_a_kw"), get("power_b_kw"), get("power_c_kw"))
    power_kw, reactive_kvar, energy_kwh = get("power_kw"), get("reactive_kvar"), get("energy_kwh")
    rest = (power_kw, reactive_kvar, factor, hertz, energy_kwh, count)
    if volts_ll == volts_ln == amps == phase_kw == NONE3 and rest == (None,) * 6:
        return NO_ELECTRICAL
    return Electrical(
        volts_ll,
        volts_ln,
        amps,
        phase_kw,
        power_kw,
        reactive_kvar,
        factor,
        hertz,
        energy_kwh,
        None if count is None else int(count),
    )


def _judge_powers(values: Values, suspect: list[str], most: float) -> None:
    for name in POWERS:
        if name in values and abs(values[name]) > most:
            del values[name]
            suspect.append(name)


def _hertz(
    hertz: float,
    volts_ll: Three,
    volts_ln: Three,
    suspect: list[str],
    nominal: Basis,
) -> float | None:
    """Hertz where volts are present or not measured. Without volts they mean nothing; volts but 0 Hz is a fault."""
    lines, phases = [v for v in volts_ll if v is not None], [v for v in volts_ln if v is not None]
    if lines or phases:
        present = (bool(lines) and max(lines) >= nominal.present_ll_v) or (
            bool(phases) and max(phases) >= nominal.present_ln_v
        )
        if not present:
            return None
        if hertz == 0.0:
            suspect.append("hertz")
            return None
    low, high = HERTZ_SHARE
    if nominal.hertz and hertz != 0.0 and not low * nominal.hertz <= hertz <= high * nominal.hertz:
        suspect.append("hertz")
        return None
    return hertz


def _power_factor(factor: float, amps: Three, suspect: list[str]) -> float | None:
    """-1 to 1, and only where a current flows."""
    flowing = [abs(a) for a in amps if a is not None]
    if flowing and max(flowing) < NO_CURRENT_A:
        return None
    if abs(factor) > ONE:
        suspect.append("power_factor")
        return None
    return max(-1.0, min(1.0, factor))
