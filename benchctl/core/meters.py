"""Which meter tells what: volts and hertz at the source, delivered kW, source kW and site load.

| figure    | first choice                     | then                        | then                           |
|-----------|----------------------------------|-----------------------------|--------------------------------|
| volts, Hz | meter at the source              | meter of the chain          | first unit with its own meter  |
| source kW | meter at the source              | delivered + site load       | not known                      |
| delivered | all loaded units' own meters     | meter of the chain          | meter at the source less site  |
| site load | meter of the site load           | source kW less delivered    | the site file's reserve        |

A meter counts while its answer is younger than the stale time; a figure that needs a missing one is not known.
"""

from benchctl.core.connection import volts_share
from benchctl.core.decision import Settings
from benchctl.core.limits import or_reserve_kw
from benchctl.core.reading import NO_ELECTRICAL, Electrical, Maybe, mean
from benchctl.core.seen import Seen, SeenUnit
from benchctl.core.site import Instrument, Nameplate, Unit
from benchctl.core.state import InstrumentState, State

UNKNOWN_RATIO = 1.10  # assumed for limits while volts are not known
HERTZ_PLAUSIBLE = 0.5  # share of rated hertz around it that can be a reading at all


def volts_of(e: Electrical, nameplate: Nameplate) -> Maybe:
    """The mean volts in the sense of the nameplate: line-to-line for three phases and three wires, else to neutral."""
    phases = len(nameplate.wiring.phases)
    if phases == 1:
        neutral = mean(e.volts_ln)
        return mean(e.volts_ll) if neutral is None else neutral
    line = mean(e.volts_ll)
    if line is not None:
        return line
    neutral = mean(e.volts_ln)
    return None if neutral is None else neutral * (3.0**0.5 if phases == 3 else 2.0)


def fresh(kept: InstrumentState, instrument: Instrument, stale_s: float) -> bool:
    """True while the instrument's answer may be used: not stale, and its counter moves."""
    return kept.age_s < stale_s and kept.frozen_s <= max(stale_s, 5.0 * instrument.refresh_s)


def read_meters(state: State, seen: Seen, settings: Settings) -> None:
    """Fill in the electrical figures of `seen`."""
    site = settings.site
    limits, plate = site.limits, site.nameplate
    by_place: dict[str, Electrical] = {}
    metered = False
    blind: list[tuple[SeenUnit, Unit]] = []
    for kept, instrument in zip(state.instruments, site.instruments, strict=True):
        if instrument.role != "meter":
            continue
        metered = True
        usable = fresh(kept, instrument, limits.stale_s)
        if usable:
            by_place.setdefault(instrument.place, kept.last.electrical)
        if instrument.place == "source":
            seen.source_age_s = kept.age_s
            seen.source_frozen = kept.age_s < limits.stale_s and not usable
    _volts_and_hertz(seen, by_place, settings)
    for s, unit in zip(seen.units, site.units, strict=True):
        metered = metered or "power_kw" in unit.profile.reports or s.reading.power_reading
        own = s.reading.electrical if s.age_s < limits.stale_s else NO_ELECTRICAL
        volts_v = seen.volts_v
        if own is not NO_ELECTRICAL:
            s.power_kw = own.total_kw
            own_v = volts_of(own, plate)
            volts_v = volts_v if own_v is None else own_v
        if volts_v is None:
            blind.append((s, unit))
        else:
            s.volts_v = volts_v * volts_share(plate, unit.profile)
            s.ratio = s.volts_v / unit.profile.rated_v
    for s, unit in blind:  # without any meter the nameplate is all there is; the plan says so
        nominal_v = plate.volts * volts_share(plate, unit.profile)
        s.ratio = nominal_v / unit.profile.rated_v * (UNKNOWN_RATIO if metered else 1.0)
        s.volts_v = None if metered else nominal_v
    _kilowatts(state, seen, by_place, settings)


def know_site_load(state: State, seen: Seen, settings: Settings, dt_s: float) -> None:
    """Bring up to date what the limits reckon the site itself to draw.

    Where it is the difference of two meters it is nonsense while load moves, because they sample at different moments:
    it is then followed slowly, over the settling time, and taken as it is when everything has settled. A limit that
    jumped with it would move load, and so make it jump again.
    """
    if seen.site_kw is None:
        return
    measured_kw = max(0.0, seen.site_kw)
    known_kw = state.site_known_kw
    if known_kw is None or seen.site_metered or state.settle_s <= 0.0:
        state.site_known_kw = measured_kw
    else:
        state.site_known_kw = known_kw + (measured_kw - known_kw) * min(1.0, dt_s / settings.site.limits.settle_s)


def _volts_and_hertz(seen: Seen, by_place: dict[str, Electrical], settings: Settings) -> None:
    plate, limits = settings.site.nameplate, settings.site.limits
    for place in ("source", "chain", "site load"):
        if place in by_place:
            seen.source, seen.source_from = by_place[place], f"{place} meter"
            break
    else:
        for s, unit in zip(seen.units, settings.site.units, strict=True):
            if s.reading.power_reading and s.age_s < limits.stale_s:
                seen.source, seen.source_from = s.reading.electrical, unit.name
                break
    seen.volts_v = volts_of(seen.source, plate)
    hertz = seen.source.hertz
    if seen.volts_v is None or seen.volts_v < plate.volts * limits.volts_present_percent / 100.0:
        return
    if hertz is not None and abs(hertz - plate.hertz) <= HERTZ_PLAUSIBLE * plate.hertz:
        seen.hertz = hertz
    else:
        seen.hertz_fault = True


def _kilowatts(state: State, seen: Seen, by_place: dict[str, Electrical], settings: Settings) -> None:
    source = by_place.get("source")
    source_kw = source.total_kw if source else None
    chain = by_place.get("chain")
    site_meter = by_place.get("site load")
    site_kw = site_meter.total_kw if site_meter else None
    total: Maybe = 0.0
    metered = False
    for s, u in zip(seen.units, state.units, strict=True):
        if s.power_kw is not None:
            metered = True
            total = None if total is None else total + s.power_kw
        elif u.possible or s.load is None:
            total = None
    chain_kw = chain.total_kw if chain else None
    if total is not None and metered:
        seen.delivered_kw, seen.delivered_from = total, "units"
    elif chain_kw is not None:
        seen.delivered_kw, seen.delivered_from = chain_kw, "chain meter"
    elif source_kw is not None:
        seen.delivered_kw, seen.delivered_from = source_kw - or_reserve_kw(site_kw, settings), "source meter"
    if site_kw is None and source_kw is not None and seen.delivered_kw is not None:
        site_kw = source_kw - seen.delivered_kw
    seen.site_kw = site_kw
    seen.site_metered = site_meter is not None
    if source_kw is None and seen.delivered_kw is not None:
        source_kw = seen.delivered_kw + or_reserve_kw(site_kw, settings)
    seen.source_kw = source_kw
