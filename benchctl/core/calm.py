"""A quick look at a subject before its rows are asked one by one: most have nothing out of the ordinary.

Each look answers for some rows of `core/causes.py`, by their keys, while no alarm of the subject stands. It says True
only when none of those rows has a reason; in doubt it says False, and they are asked. A row for which no look answers
is asked in every scan. A test holds that looks change no decision, whatever the state.
"""

from collections.abc import Callable

from benchctl.core.conditions import Now
from benchctl.core.thermal import lowest_limit_c

Calm = Callable[[Now], bool]


def volts_well(now: Now) -> bool:
    """The source's volts are within the narrowest limits, are not known, or do not matter."""
    volts, limits = now.seen.volts_v, now.limits
    if volts is None or not now.loaded or now.expecting_loss:
        return True
    percent = 100.0 * volts / now.settings.site.nameplate.volts
    lowest = max(
        100.0 - min(limits.volts_warn_percent, limits.volts_trip_percent, limits.block_volts_percent),
        limits.volts_low_percent,
    )
    return lowest <= percent <= 100.0 + limits.volts_warn_percent


def hertz_well(now: Now) -> bool:
    """The source's hertz are within the narrowest limits, are not known, or do not matter."""
    hertz, limits = now.seen.hertz, now.limits
    if hertz is None or not now.loaded or now.expecting_loss:
        return True
    percent = 100.0 * hertz / now.settings.site.nameplate.hertz
    lowest = max(
        100.0 - min(limits.hertz_warn_percent, limits.block_hertz_percent),
        limits.hertz_low_percent,
        limits.hertz_stall_percent,
        limits.hertz_low_warn_percent,
    )
    return lowest <= percent <= min(100.0 + limits.hertz_warn_percent, limits.hertz_high_percent)


def nothing_said(now: Now) -> bool:
    """No rung before has found anything wrong with the scan, its meters or who is there."""
    seen = now.seen
    return not (
        seen.site_needs_set
        or seen.hertz_fault
        or seen.source_frozen
        or seen.late
        or seen.gap_s > 0.0
        or seen.recorder_failed
        or now.state.alone_s > 0.0
        or now.limits.stale_s <= seen.source_age_s < 1e9
    )


def says_well(now: Now) -> bool:
    """No switch of the unit says anything that stops it; air flows, or none is needed."""
    reading = now.s.reading
    if reading.emergency_stop is True or reading.fan_supply is False or reading.remote is False:
        return False
    return (reading.airflow is True and now.fresh) or not (now.u.fan or now.u.possible)


def temperatures_well(now: Now) -> bool:
    """Inlet and exhaust are known, and below all limits."""
    inlet_c, exhaust_c = now.s.reading.inlet_c, now.s.reading.exhaust_c
    if inlet_c is None or exhaust_c is None:
        return False
    return inlet_c <= now.limits.inlet_warn_c and exhaust_c < lowest_limit_c(now.unit, now.s.reading, now.limits)


def stands_well(now: Now) -> bool:
    """No element is missed, the volts are not too many, and the unit is cool, or loaded with its fans at our order."""
    u, profile = now.u, now.unit.profile
    if u.missing or not now.s.ratio <= profile.highest_v_ratio:
        return False
    return not u.hot or (u.cooling_s <= 0.0 < profile.cooldown.alarm_s and not u.fan_withdrawn)


LOOKS: tuple[tuple[Calm, tuple[str, ...]], ...] = (
    (volts_well, ("volts very low", "volts low", "volts low after block", "volts off")),
    (
        hertz_well,
        ("hertz stall", "hertz low", "hertz low after block", "hertz off", "hertz below warning", "hertz high"),
    ),
    (
        nothing_said,
        (
            *("site needs the set", "hertz not measured", "source meter lost", "source meter frozen"),
            *("nobody attached", "time gap", "scan late", "record stopped"),
        ),
    ),
    (
        says_well,
        (
            *("emergency stop", "fan supply lost", "unit in local"),
            *("airflow lost", "load without air", "air not known"),
        ),
    ),
    (temperatures_well, ("over-temperature", "exhaust warm", "inlet warm", "temperature missing")),
    (
        stands_well,
        ("draws less", "unit volts high", "hot, fans stopped", "hot, no fan supply", "cool-down too long"),
    ),
)
