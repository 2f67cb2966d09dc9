"""First contact with a site's devices, read only: is it there, is it what the site says, what is its state.

Nothing is written here. Each device is asked twice, some time apart, so that a meter that stands still shows.
"""

import asyncio
from dataclasses import dataclass, fields
from typing import Any

from benchctl.core.profile import Profile
from benchctl.core.reading import NO_ELECTRICAL, Electrical, InstrumentReading, Outcome, UnitReading
from benchctl.core.site import Instrument, Site, Unit
from benchctl.field.answer import Answers, Got
from benchctl.field.chain import Chain
from benchctl.field.decode import basis, decode_instrument, decode_unit
from benchctl.field.decoder import Decoded, decode
from benchctl.field.link import Connect
from benchctl.field.sweep import decoder_of, readings

PATIENCE_S = 4.0  # for one round of reads, a connection included
BETWEEN_S = 1.5  # longer than meters usually take for a fresh value
RATED_TOLERANCE = 0.01


@dataclass(frozen=True, slots=True)
class Met:
    """What first contact found out of one device. None = the device does not say, or was not reached."""

    name: str
    reached: bool
    outcome: Outcome
    latency_s: float | None  # of one request
    serial: str | None
    model: str | None
    firmware: str | None
    identity_ok: bool | None
    rated_kw: float | None
    rated_v: float | None
    watchdog_s: float | None
    fresh: bool | None  # a measurement moved between the two reads; None = cannot be told
    load_on: bool | None
    faults: tuple[str, ...]
    suspect: tuple[str, ...]
    absent: tuple[str, ...]  # addresses of the profile that the device does not have
    warnings: tuple[str, ...]  # in words, what does not agree with the site
    reading: UnitReading | InstrumentReading
    age_s: float | None = None  # since it was last heard


def plain(met: Met) -> dict[str, Any]:
    """Plain values, for machines and other processes. What the device says of its ratings is named so."""
    row = {f.name: getattr(met, f.name) for f in fields(met) if f.name != "reading"}
    row["says_rated_kw"], row["says_rated_v"] = row.pop("rated_kw"), row.pop("rated_v")
    for key, digits in (("latency_s", 4), ("age_s", 3)):
        row[key] = None if row[key] is None else round(row[key], digits)
    return row | {"outcome": met.outcome.value}


async def meet(
    site: Site,
    *,
    connect: Connect | None = None,
    between_s: float = BETWEEN_S,
    patience_s: float = PATIENCE_S,
) -> tuple[Met, ...]:
    """Every device of a site, units first, in its order. Raises nothing for a device that is not there."""
    loop = asyncio.get_running_loop()
    chain = Chain(site, connect=connect)
    try:
        first = await chain.read(loop.time() + patience_s)
        latencies = await chain.latencies()
        await asyncio.sleep(between_s)
        second = await chain.read(loop.time() + patience_s)
        nouns: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
        before = [r.electrical for group in readings(site, first) for r in group]
        answers = [
            _merged(a, b)
            for a, b in zip((*first.units, *first.instruments), (*second.units, *second.instruments), strict=True)
        ]
        absent, faults = chain.absent, chain.faults
        return tuple(
            _met(site, noun, a, old, latencies[noun.name], absent.get(noun.name, ()), faults.get(noun.name, ""))
            for noun, a, old in zip(nouns, answers, before, strict=True)
        )
    finally:
        await chain.close()


def _merged(first: Answers, second: Answers) -> Answers:
    """The second read's answers; blocks read only at contact come from the first."""
    return tuple(b if b.got is not Got.NOT_ASKED else a for a, b in zip(first, second, strict=True))


def _met(
    site: Site,
    noun: Unit | Instrument,
    answers: Answers,
    old: Electrical,
    latency_s: float | None,
    absent: tuple[str, ...],
    fault: str,
) -> Met:
    reading = whole(site, noun, answers)
    return introduced(
        site, noun, reading, answers, _moved(old, reading.electrical), latency_s=latency_s, absent=absent, fault=fault,
        age_s=0.0 if reading.outcome.answered else None, stranger=True,
    )  # fmt: skip


def whole(site: Site, noun: Unit | Instrument, answers: Answers) -> UnitReading | InstrumentReading:
    """What answers of a device mean, those that are read once included."""
    nominal = basis(site.nameplate, site.limits.volts_present_percent)
    return decode_unit(noun, answers, nominal) if isinstance(noun, Unit) else decode_instrument(noun, answers, nominal)


def introduced(
    site: Site,
    noun: Unit | Instrument,
    reading: UnitReading | InstrumentReading,
    said: Answers,
    fresh: bool | None,
    *,
    latency_s: float | None,
    absent: tuple[str, ...],
    fault: str,
    age_s: float | None,
    stranger: bool,
) -> Met:
    """A device by its newest reading and by what it has said of itself. stranger: no load on it can be ours."""
    found = decode(decoder_of(noun), said)
    load_on: bool | None = None
    names: tuple[str, ...] = ()
    if isinstance(noun, Unit) and isinstance(reading, UnitReading):
        load_on = None if reading.load is None else reading.load > 0
        names = tuple(f.text for i, f in enumerate(noun.profile.faults) if reading.faults >> i & 1)
    warnings = _warnings(site, noun, reading, found, fresh, fault)
    if load_on and stranger:
        warnings.append("load is on already, and was not started from here")
    return Met(
        name=noun.name,
        reached=reading.outcome.answered,
        outcome=reading.outcome,
        latency_s=latency_s,
        serial=reading.serial,
        model=found.texts.get("model_id") or _number(found.values.get("model_id")),
        firmware=found.texts.get("firmware") or _number(found.values.get("firmware")),
        identity_ok=reading.identity_ok,
        rated_kw=found.values.get("rated_kw"),
        rated_v=found.values.get("rated_v"),
        watchdog_s=found.values.get("watchdog_s"),
        fresh=fresh,
        load_on=load_on,
        faults=names,
        suspect=reading.suspect,
        absent=absent,
        warnings=tuple(warnings),
        reading=reading,
        age_s=age_s,
    )


def _moved(old: Electrical, now: Electrical) -> bool | None:
    """Whether a measurement moved; None where that cannot be told.

    Volts alone may read the same twice by rounding: only a counter that stands still, or a current, tells of a meter
    that is frozen.
    """
    if NO_ELECTRICAL in (now, old):
        return None
    if now != old:
        return True
    return False if now.refresh_count is not None or any(a for a in now.amps) else None


def _number(number: float | None) -> str | None:
    return None if number is None else f"{number:g}"


def _warnings(
    site: Site,
    noun: Unit | Instrument,
    reading: UnitReading | InstrumentReading,
    found: Decoded,
    fresh: bool | None,
    fault: str,
) -> list[str]:
    """What does not agree, in words."""
    if not reading.outcome.answered:
        return [fault or f"no reading: {reading.outcome.value}"]
    told = []
    if reading.identity_ok is False:
        told.append(
            "a known value does not read as the profile says: wrong profile, wrong word order, an address off "
            "by one, or another device"
        )
    if noun.serial and reading.serial and noun.serial != reading.serial:
        told.append(f"serial is {reading.serial}, the site file says {noun.serial}")
    if fresh is False:
        told.append("its measurement did not move between two reads: it may be frozen")
    told += [f"{name} reads as something that cannot be" for name in reading.suspect]
    if isinstance(noun, Unit) and isinstance(reading, UnitReading):
        told += _unit_warnings(site, noun.profile, reading, found)
    return told


def _unit_warnings(site: Site, profile: Profile, reading: UnitReading, found: Decoded) -> list[str]:
    told = []
    for name, rated, unit in (("rated_kw", profile.rated_kw, "kW"), ("rated_v", profile.rated_v, "V")):
        said = found.values.get(name)
        if said is not None and abs(said - rated) > RATED_TOLERANCE * rated:
            told.append(f"it says it is rated {said:g} {unit}, its profile says {rated:g} {unit}")
    watchdog, said = profile.watchdog, found.values.get("watchdog_s")
    if watchdog is not None and said is not None and abs(said - watchdog.time_s) > 0.5:
        told.append(f"its watchdog is set to {said:g} s, its profile says {watchdog.time_s:g} s")
    plate = site.nameplate
    if not any(abs(plate.hertz - h) < 0.5 for h in profile.hertz):
        fans = " or ".join(f"{h:g}" for h in profile.hertz)
        told.append(f"its fans are for {fans} Hz, the source has {plate.hertz:g} Hz")
    if reading.remote is False:
        told.append("it is under its own panel and takes no orders")
    if reading.emergency_stop:
        told.append("its emergency stop is operated")
    return told
