"""What the rows of `core/causes.py` look at: conditions on the bench and on one unit.

A condition answers True, False or None (cannot be known now: the alarm stays as it was). `Now.was` is True while the
row is active already, which gives each analogue condition its dead band.
"""

from collections.abc import Callable
from dataclasses import dataclass
from operator import attrgetter

from benchctl.core.decision import Settings
from benchctl.core.legs import LegKind
from benchctl.core.levels import load_kw
from benchctl.core.profile import FanSupply
from benchctl.core.seen import Seen, SeenUnit
from benchctl.core.site import Limits, Unit
from benchctl.core.state import Mode, State, UnitState


@dataclass(slots=True)
class Now:
    """What a row looks at: the bench, and for a unit's row that unit (index -1: none)."""

    state: State
    seen: Seen
    settings: Settings
    limits: Limits
    index: int
    u: UnitState
    s: SeenUnit
    unit: Unit
    loaded: bool  # anything may be closed
    expecting_loss: bool  # the program waits for the supply to go
    fresh: bool = False  # the unit told something in this scan
    was: bool = False

    @staticmethod
    def of(state: State, seen: Seen, settings: Settings) -> "Now":
        """The bench's rows look at this."""
        site, legs = settings.site, settings.legs
        loss = state.mode is Mode.RUN and state.leg < len(legs) and legs[state.leg].kind is LegKind.LOSS
        first = state.units[0], seen.units[0], site.units[0]
        return Now(state, seen, settings, site.limits, -1, *first, seen.loaded, loss)

    def turn_to(self, index: int, u: UnitState, s: SeenUnit, unit: Unit) -> None:
        """Look at a unit from now on."""
        self.index, self.u, self.s, self.unit, self.fresh = index, u, s, unit, s.told

    def percent(self, value: float | None, of: float) -> float | None:
        """A value in percent of a rating, or None."""
        return None if value is None else 100.0 * value / of


Active = Callable[[Now], bool | None]


class Flag:
    """A row on a value of the unit's state that is wrong when it is true, or not zero."""

    __slots__ = ("name",)

    def __init__(self, name: str) -> None:
        self.name = name

    def __call__(self, now: Now) -> bool:
        return bool(getattr(now.u, self.name))


def low(now: Now, value: float | None, of: float, limit: float, band: float = 0.5) -> bool | None:
    percent = now.percent(value, of)
    return None if percent is None else percent < limit + (band if now.was else 0.0)


def high(now: Now, value: float | None, of: float, limit: float, band: float = 0.5) -> bool | None:
    percent = now.percent(value, of)
    return None if percent is None else percent > limit - (band if now.was else 0.0)


def volts(limit: Callable[[Limits], float], side: Callable[..., bool | None], in_block: bool | None) -> Active:
    """A row on the source's volts. in_block: True only in the window after a block, False only outside, None always."""

    def active(now: Now) -> bool | None:
        if not now.loaded or now.expecting_loss or (in_block is not None and in_block != (now.state.block_s > 0.0)):
            return False
        return side(now, now.seen.volts_v, now.settings.site.nameplate.volts, limit(now.limits))

    return active


def hertz(limit: Callable[[Limits], float], side: Callable[..., bool | None], in_block: bool | None) -> Active:
    def active(now: Now) -> bool | None:
        if not now.loaded or now.expecting_loss or (in_block is not None and in_block != (now.state.block_s > 0.0)):
            return False
        return side(now, now.seen.hertz, now.settings.site.nameplate.hertz, limit(now.limits))

    return active


def phase_lost(now: Now) -> bool | None:
    if now.expecting_loss:
        return False
    source = now.seen.source
    for volts in (source.volts_ln, source.volts_ll):
        known = [v for v in volts if v is not None]
        if len(known) > 1 and max(known) > 0.0:
            highest = max(known)
            return highest > 0.5 * now.settings.site.nameplate.volts / 3.0**0.5 and min(known) < 0.6 * highest
    return None


def over_current(now: Now) -> bool | None:
    known = [a for a in now.seen.source.amps if a is not None]
    rated = now.settings.site.nameplate.rated_amps
    return high(now, max(known), rated, now.limits.over_current_percent) if known else None


def airflow_lost(now: Now) -> bool | None:
    if not now.u.fan or now.u.fan_on_s < now.unit.profile.fan.proof_s:
        return False
    return None if now.s.reading.airflow is None or not now.fresh else now.s.reading.airflow is False


def air_unknown(now: Now) -> bool | None:
    return now.s.reading.airflow is None and now.u.possible != 0 if now.fresh else None


def airflow_lost_loaded(now: Now) -> bool | None:
    if not now.fresh or now.s.reading.airflow is None:
        return None
    return now.s.reading.airflow is False and now.u.possible != 0


def exhaust(limit_c: Callable[[Now], float], band_k: float) -> Active:
    def active(now: Now) -> bool | None:
        exhaust_c = now.s.reading.exhaust_c
        if exhaust_c is None or not now.fresh:
            return None
        return exhaust_c >= limit_c(now) - (band_k if now.was else 0.0)

    return active


def known(name: str, wrong: bool) -> Active:
    """A row on a yes-or-no value of a unit that is wrong when it equals `wrong`."""

    value_of = attrgetter(name)

    def active(now: Now) -> bool | None:
        value = value_of(now.s.reading) if now.fresh else None
        return None if value is None else value is wrong

    return active


UNDER_PANEL = known("remote", False)


def local_loaded(now: Now) -> bool | None:
    """The unit is under its own panel with load that may be closed."""
    return UNDER_PANEL(now) if now.u.possible or now.was else False


def own_volts_high(now: Now) -> bool | None:
    if now.s.volts_v is None:
        return None
    return now.u.possible != 0 and now.s.ratio > now.unit.profile.highest_v_ratio - (0.005 if now.was else 0.0)


def temperature_missing(now: Now) -> bool | None:
    if not now.fresh:
        return None
    return "exhaust_c" in now.unit.profile.reports and now.s.reading.exhaust_c is None


def inlet(now: Now) -> bool | None:
    inlet_c = now.s.reading.inlet_c
    return None if inlet_c is None or not now.fresh else inlet_c > now.limits.inlet_warn_c - (1.0 if now.was else 0.0)


def source_gone_hot(now: Now) -> bool:
    """Fans that hang on the source stand still while their unit is hot."""
    return (
        now.u.hot
        and now.u.cooling_s > 0.0
        and now.unit.profile.fan.supply is FanSupply.SOURCE
        and now.s.volts_v is not None
        and now.s.volts_v < 0.5 * now.settings.site.nameplate.volts
    )


def over_power(now: Now) -> bool | None:
    """The source carries more kW than the limit."""
    return high(now, now.seen.source_kw, now.settings.site.nameplate.power_kw, now.limits.over_power_percent)


def either(below: Active, above: Active) -> Active:
    """A row on a band: outside of it on either side."""
    return lambda now: below(now) or above(now)


volts_off = either(
    volts(lambda lim: 100.0 - lim.volts_warn_percent, low, None),
    volts(lambda lim: 100.0 + lim.volts_warn_percent, high, None),
)
hertz_off = either(  # not in the window after a block
    hertz(lambda lim: 100.0 - lim.hertz_warn_percent, low, False),
    hertz(lambda lim: 100.0 + lim.hertz_warn_percent, high, False),
)


def kw_mismatch(now: Now) -> bool | None:
    """Delivered kW against the stages read back closed, while nothing moves: the check load again at more load.

    What fans take from the source under test is allowed for on either side: not every meter sees it.
    """
    seen, state, settings = now.seen, now.state, now.settings
    plate_kw, reserved = settings.site.nameplate.power_kw, settings.site.site_load_reserve_kw
    if seen.confirmed_kw < plate_kw * now.limits.recheck_from_percent / 100.0:
        return False
    if seen.delivered_kw is None or (seen.delivered_from == "source meter" and reserved and not seen.site_metered):
        return None
    if state.settle_s > 0.0 or state.block_s > 0.0:
        return None
    expected_kw = fans_kw = 0.0
    for u, s, unit in zip(state.units, seen.units, settings.site.units, strict=True):
        if s.load is None or s.load != u.wanted or u.follow_s > 0.0:
            return None
        whole = u.health is None and s.load == u.possible
        expected_kw += s.possible_kw if whole else load_kw(unit.profile, s.load, s.ratio, u.health)
        if u.fan and unit.profile.fan.supply is FanSupply.SOURCE:
            fans_kw += unit.profile.fan.power_kw
    band = now.limits.recheck_percent * (0.9 if now.was else 1.0) / 100.0
    return abs(seen.delivered_kw - expected_kw) > expected_kw * band + fans_kw


def source_low(now: Now) -> bool | None:
    """The source's meter shows less than the units draw by other meters, while nothing moves: load gives none back."""
    seen, state = now.seen, now.state
    if seen.delivered_kw is None or seen.source_kw is None or seen.delivered_from == "source meter":
        return None
    if seen.delivered_kw < now.settings.site.nameplate.power_kw * now.limits.recheck_from_percent / 100.0:
        return False
    if state.block_s > 0.0 or any(u.possible and u.steady_s < now.limits.stale_s for u in state.units):
        return None
    drawn_kw = seen.delivered_kw + (max(0.0, seen.site_kw or 0.0) if seen.site_metered else 0.0)
    return seen.source_kw < drawn_kw * (1.0 - now.limits.recheck_percent * (0.9 if now.was else 1.0) / 100.0)


def short(now: Now) -> bool | None:
    """The units that may be loaded cannot give what is asked."""
    asked = now.state.target_kw
    if now.settings.counts_source:
        asked -= max(0.0, now.seen.site_kw or 0.0)
    return asked > 0.0 and (now.seen.available_kw < asked * 0.99 or now.state.short_kw > 0.0)


def none_left(now: Now) -> bool:
    """Load is asked for, and every unit is lost, off, or was never ours."""
    return now.state.target_kw > 0.0 and not any(u.joined and not u.out for u in now.state.units)


def no_person(now: Now) -> bool:
    """Nobody has answered the question whether somebody is there."""
    terms = now.settings.site.attendance
    return now.state.person_s >= terms.check_in_s + terms.alarm_after_s
