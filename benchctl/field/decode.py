"""Answers of one device → its reading. Pure.

What is not valid is None and never zero; a value that was there but cannot be true is None and named in
`suspect`.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from benchctl.core.profile import Profile
from benchctl.core.reading import (
    NO_ELECTRICAL,
    NONE3,
    NOT_ASKED_INSTRUMENT,
    NOT_ASKED_UNIT,
    Electrical,
    InstrumentReading,
    Three,
    UnitReading,
)
from benchctl.core.site import Instrument, Nameplate, Unit, Wiring
from benchctl.field.answer import Answers
from benchctl.field.bits import Gather, collect
from benchctl.field.decoder import LOAD_NAMES, Decoder, Memory, instrument_decoder, unit_decoder
from benchctl.field.numbers import LOAD, MEASURED

NO_CURRENT_A = 0.01  # below it a power factor is noise
ONE = 1.0 + 1e-6  # a power factor of 1 in float32 may round to a little more
HERTZ_SHARE = (0.5, 1.5)  # of nominal; no set runs outside, so it is the measurement that is wrong
POWER_SHARE = 3.0  # of nameplate kVA; a nearer bound would hide a true overload from the trips
POWERS = ("power_kw", "reactive_kvar", "apparent_kva", "power_a_kw", "power_b_kw", "power_c_kw")
MEASURED_NAMES = (
    *POWERS,
    *("amps_a", "amps_b", "amps_c", "energy_kwh"),  # up to here in the ratio of current transformers
    *("volts_ab", "volts_bc", "volts_ca", "volts_a", "volts_b", "volts_c"),
    *("hertz", "power_factor", "refresh_count"),
)
SCALED_BY_CT = 10  # so many of them
NOTHING_MEASURED = (NONE3, NONE3, NONE3, NONE3, None, None, None, None, None, None)


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


class UnitDecoder:
    """Decodes a unit scan after scan: what did not change keeps its object, and so does a reading that did not."""

    def __init__(self, unit: Unit, nominal: Basis = NO_BASIS) -> None:
        ready = unit_decoder(unit.profile)
        self._profile = unit.profile
        self._memory = Memory(ready)
        self._pick = ready.pick(("inlet_c", "exhaust_c", "uptime_s"))
        self._pick_loads = ready.pick(LOAD_NAMES)
        self._faults = (0, 0)
        self._loads: tuple[int | None, int | None] = (None, None)
        self._measured = Measured(ready, nominal, 1.0)
        self._fields: tuple[Any, ...] = ()
        self._reading = NOT_ASKED_UNIT

    def reading(self, answers: Answers) -> UnitReading:
        """The unit's reading of one scan. answers: one per block of its plan, or fewer from the end."""
        memory, measured = self._memory, self._measured
        changed = memory.take(answers)
        if not changed:
            return self._reading
        ready, numbers, flag = memory.ready, memory.numbers, memory.flags.get
        if ready.faults is not None and changed & ready.faults.blocks:
            self._faults = collect(ready.faults, answers)
        if memory.moved & LOAD or changed & ready.load_blocks:
            values = dict(zip(LOAD_NAMES, self._pick_loads(numbers.found), strict=True))
            self._loads = loads(self._profile, ready, answers, values)
        if memory.moved & MEASURED:
            measured.take(numbers.found)
        fields: tuple[Any, ...] = (
            memory.outcome,
            *self._loads,
            flag("remote"),
            flag("fan_on"),
            flag("airflow"),
            flag("fan_supply"),
            flag("emergency_stop"),
            flag("site_needs_set"),
            *self._pick(numbers.found),
            memory.texts.get("serial"),
            memory.identity_ok,
            *self._faults,
            measured.electrical,
            (*numbers.suspect, *measured.suspect),
            measured.electrical is not NO_ELECTRICAL,
        )
        if fields != self._fields:
            self._fields, self._reading = fields, UnitReading(*fields)
        return self._reading


class InstrumentDecoder:
    """Decodes an instrument scan after scan, as `UnitDecoder` does."""

    def __init__(self, instrument: Instrument, nominal: Basis = NO_BASIS) -> None:
        ready = instrument_decoder(instrument.registers)
        self._memory = Memory(ready)
        self._pick = ready.pick(("speed_rpm", "oil_kpa", "coolant_c", "fuel_percent", "battery_v", "uptime_s"))
        self._measured = Measured(ready, nominal, instrument.ct_ratio)
        self._fields: tuple[Any, ...] = ()
        self._reading = NOT_ASKED_INSTRUMENT

    def reading(self, answers: Answers) -> InstrumentReading:
        """The instrument's reading of one scan; the transformers' ratio where the meter does not apply it."""
        memory, measured = self._memory, self._measured
        if not memory.take(answers):
            return self._reading
        numbers, flag = memory.numbers, memory.flags.get
        if memory.moved & MEASURED:
            measured.take(numbers.found)
        *singles, uptime_s = self._pick(numbers.found)
        fields: tuple[Any, ...] = (
            memory.outcome,
            measured.electrical,
            *singles,
            flag("set_running"),
            flag("set_fault"),
            flag("site_needs_set"),
            memory.texts.get("serial"),
            memory.identity_ok,
            uptime_s,
            (*numbers.suspect, *measured.suspect),
        )
        if fields != self._fields:
            self._fields, self._reading = fields, InstrumentReading(*fields)
        return self._reading


def decode_unit(unit: Unit, answers: Answers, nominal: Basis = NO_BASIS) -> UnitReading:
    """A unit's reading from its answers alone."""
    return UnitDecoder(unit, nominal).reading(answers)


def decode_instrument(instrument: Instrument, answers: Answers, nominal: Basis = NO_BASIS) -> InstrumentReading:
    """An instrument's reading from its answers alone."""
    return InstrumentDecoder(instrument, nominal).reading(answers)


def loads(
    profile: Profile,
    ready: Decoder,
    answers: Answers,
    values: Mapping[str, float | None],
) -> tuple[int | None, int | None]:
    """(load read back, load as ordered) of a unit; None where any stage of it is not known."""
    if profile.setpoint is not None:
        resolution = profile.setpoint.resolution_kw
        order = _steps(values.get("setpoint_kw"), resolution)
        return (_steps(values.get("setpoint_in_force_kw"), resolution) if ready.in_force else order), order
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


class Measured:
    """A device's own measurement. Judges hertz by volts, power factor by amps, kW by nameplate."""

    def __init__(self, ready: Decoder, nominal: Basis, ct_ratio: float) -> None:
        self.electrical = NO_ELECTRICAL
        self.suspect: list[str] = []
        self._nominal, self._ratio = nominal, ct_ratio
        self._most_kw = POWER_SHARE * nominal.apparent_kva or math.inf
        self._pick = ready.pick(MEASURED_NAMES)
        self._fields: tuple[Any, ...] = ()

    def take(self, found: Sequence[float | None]) -> None:
        """Take the numbers of a scan. Equal ones keep the object."""
        suspect: list[str] = []
        values = self._pick(found)
        if self._ratio != 1.0:
            own = values[:SCALED_BY_CT]
            values = (*[None if v is None else v * self._ratio for v in own], *values[SCALED_BY_CT:])
        most_kw = self._most_kw
        for name, value in zip(POWERS, values, strict=False):
            if value is not None and not -most_kw <= value <= most_kw:
                suspect.append(name)
        if suspect:
            values = tuple([None if n in suspect else v for n, v in zip(MEASURED_NAMES, values, strict=True)])
        power_kw, reactive_kvar, _, kw_a, kw_b, kw_c, a, b, c, energy_kwh = values[:SCALED_BY_CT]
        ab, bc, ca, an, bn, cn, hertz, factor, count = values[SCALED_BY_CT:]
        volts_ll, volts_ln, amps = (ab, bc, ca), (an, bn, cn), (a, b, c)
        if hertz is not None:
            hertz = _hertz(hertz, volts_ll, volts_ln, suspect, self._nominal)
        if factor is not None:
            factor = _power_factor(factor, amps, suspect)
        whole = None if count is None else int(count)
        rest = (power_kw, reactive_kvar, factor, hertz, energy_kwh, whole)
        fields = (volts_ll, volts_ln, amps, (kw_a, kw_b, kw_c), *rest)
        self.suspect = suspect
        if fields != self._fields:
            self._fields = fields
            self.electrical = NO_ELECTRICAL if fields == NOTHING_MEASURED else Electrical(*fields)


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
