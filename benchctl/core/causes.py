"""The table of alarms and interlocks: what is noticed, after which delay, what it does, whether it latches, what is said.

`active` returns True, False or None (cannot be known now: the alarm stays as it was). `was` is True while the row
is active already, which gives each analogue row its dead band. A reaction acts as long as the alarm is active or
latched.
"""

from collections.abc import Callable
from dataclasses import dataclass

from benchctl.core.decision import Settings
from benchctl.core.legs import LegKind
from benchctl.core.profile import FanSupply, Reaction
from benchctl.core.seen import Contact, Seen, SeenUnit
from benchctl.core.site import Limits, Unit
from benchctl.core.state import Mode, State, UnitState
from benchctl.core.thermal import over_c, warn_c


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
    was: bool = False

    @property
    def loaded(self) -> bool:
        """Anything may be closed."""
        return self.seen.possible_kw > 0.0

    @property
    def fresh(self) -> bool:
        """The unit was heard in this scan."""
        return self.s.contact is Contact.FRESH

    def percent(self, value: float | None, of: float) -> float | None:
        """A value in percent of a rating, or None."""
        return None if value is None else 100.0 * value / of


Active = Callable[[Now], bool | None]


@dataclass(frozen=True, slots=True)
class Row:
    """One cause. scope: "unit" or "bench". delay: name of a field of Limits in seconds, or empty for at once."""

    key: str
    scope: str
    reaction: Reaction
    latch: bool
    delay: str
    text: str
    help: str
    active: Active


def _low(now: Now, value: float | None, of: float, limit: float, band: float = 0.5) -> bool | None:
    percent = now.percent(value, of)
    return None if percent is None else percent < limit + (band if now.was else 0.0)


def _high(now: Now, value: float | None, of: float, limit: float, band: float = 0.5) -> bool | None:
    percent = now.percent(value, of)
    return None if percent is None else percent > limit - (band if now.was else 0.0)


def _expecting_loss(now: Now) -> bool:
    state, legs = now.state, now.settings.legs
    return state.mode is Mode.RUN and state.leg < len(legs) and legs[state.leg].kind is LegKind.LOSS


def _volts(limit: Callable[[Limits], float], side: Callable[..., bool | None], in_block: bool | None) -> Active:
    """A row on the source's volts. in_block: True only in the window after a block, False only outside, None always."""

    def active(now: Now) -> bool | None:
        if not now.loaded or _expecting_loss(now) or (in_block is not None and in_block != (now.state.block_s > 0.0)):
            return False
        return side(now, now.seen.volts_v, now.settings.site.nameplate.volts, limit(now.limits))

    return active


def _hertz(limit: Callable[[Limits], float], side: Callable[..., bool | None], in_block: bool | None) -> Active:
    def active(now: Now) -> bool | None:
        if not now.loaded or _expecting_loss(now) or (in_block is not None and in_block != (now.state.block_s > 0.0)):
            return False
        return side(now, now.seen.hertz, now.settings.site.nameplate.hertz, limit(now.limits))

    return active


def _phase_lost(now: Now) -> bool | None:
    if _expecting_loss(now):
        return False
    source = now.seen.source
    for volts in (source.volts_ln, source.volts_ll):
        known = [v for v in volts if v is not None]
        if len(known) > 1 and max(known) > 0.0:
            highest = max(known)
            return highest > 0.5 * now.settings.site.nameplate.volts / 3.0**0.5 and min(known) < 0.6 * highest
    return None


def _over_current(now: Now) -> bool | None:
    known = [a for a in now.seen.source.amps if a is not None]
    rated = now.settings.site.nameplate.rated_amps
    return _high(now, max(known), rated, now.limits.over_current_percent) if known else None


def _airflow_lost(now: Now) -> bool | None:
    if not now.u.fan or now.u.fan_on_s < now.unit.profile.fan.proof_s:
        return False
    if now.s.reading.airflow is None or not now.fresh:
        return now.u.possible != 0 and now.s.age_s >= now.limits.stale_s or None
    return now.s.reading.airflow is False


def _airflow_lost_loaded(now: Now) -> bool | None:
    if not now.fresh or now.s.reading.airflow is None:
        return None
    return now.s.reading.airflow is False and now.u.possible != 0


def _exhaust(limit_c: Callable[[Now], float], band_k: float) -> Active:
    def active(now: Now) -> bool | None:
        exhaust_c = now.s.reading.exhaust_c
        if exhaust_c is None or not now.fresh:
            return None
        return exhaust_c >= limit_c(now) - (band_k if now.was else 0.0)

    return active


def _known(name: str, wrong: bool) -> Active:
    """A row on a yes-or-no value of a unit that is wrong when it equals `wrong`."""

    def active(now: Now) -> bool | None:
        value = getattr(now.s.reading, name) if now.fresh else None
        return None if value is None else value is wrong

    return active


def _own_volts_high(now: Now) -> bool | None:
    if now.s.volts_v is None:
        return None
    return now.u.possible != 0 and now.s.ratio > now.unit.profile.highest_v_ratio - (0.005 if now.was else 0.0)


def _temperature_missing(now: Now) -> bool | None:
    if not now.fresh:
        return None
    return "exhaust_c" in now.unit.profile.reports and now.s.reading.exhaust_c is None


def _inlet(now: Now) -> bool | None:
    inlet_c = now.s.reading.inlet_c
    return None if inlet_c is None or not now.fresh else inlet_c > now.limits.inlet_warn_c - (1.0 if now.was else 0.0)


def _source_gone_hot(now: Now) -> bool:
    """Fans that hang on the source stand still while their unit is hot."""
    return (
        now.u.hot
        and now.u.cooling_s > 0.0
        and now.unit.profile.fan.supply is FanSupply.SOURCE
        and now.s.volts_v is not None
        and now.s.volts_v < 0.5 * now.settings.site.nameplate.volts
    )


def _short(now: Now) -> bool | None:
    """The units that may be loaded cannot give what is asked."""
    asked = now.state.target_kw
    return now.state.mode is Mode.RUN and asked > 0.0 and now.seen.available_kw < asked * 0.99


R = Reaction
ROWS: tuple[Row, ...] = (
    Row(
        "site needs the set",
        "bench",
        R.DROP,
        True,
        "",
        "the site needs the set",
        "Leave the set to the site. Reset only when the site has released it.",
        lambda n: n.seen.site_needs_set,
    ),
    Row(
        "emergency stop",
        "unit",
        R.DROP,
        True,
        "",
        "emergency stop operated at {unit}",
        "Go and look. Fans of that unit start again only when confirmed.",
        _known("emergency_stop", True),
    ),
    Row(
        "phase lost",
        "bench",
        R.DROP,
        True,
        "hertz_stall_s",
        "a phase of the source is lost",
        "Check breaker poles, cables and the regulator.",
        _phase_lost,
    ),
    Row(
        "hertz stall",
        "bench",
        R.DROP,
        True,
        "hertz_stall_s",
        "hertz below {hertz_stall_percent:g} %: the set stalls",
        "The load was too much or the fuel too little.",
        _hertz(lambda lim: lim.hertz_stall_percent, _low, None),
    ),
    Row(
        "hertz low",
        "bench",
        R.DROP,
        True,
        "hertz_low_s",
        "hertz below {hertz_low_percent:g} %",
        "The set is overloaded: check filters, fuel, governor, rating.",
        _hertz(lambda lim: lim.hertz_low_percent, _low, False),
    ),
    Row(
        "hertz low after block",
        "bench",
        R.DROP,
        True,
        "hertz_low_s",
        "hertz more than {block_hertz_percent:g} % below rated after a block",
        "The block was too large for the set.",
        _hertz(lambda lim: 100.0 - lim.block_hertz_percent, _low, True),
    ),
    Row(
        "volts very low",
        "bench",
        R.DROP,
        True,
        "volts_low_s",
        "volts below {volts_low_percent:g} %",
        "Check the regulator, the breaker and the cables.",
        _volts(lambda lim: lim.volts_low_percent, _low, False),
    ),
    Row(
        "volts low",
        "bench",
        R.DROP,
        True,
        "volts_trip_s",
        "volts more than {volts_trip_percent:g} % low",
        "Check the regulator and the load.",
        _volts(lambda lim: 100.0 - lim.volts_trip_percent, _low, False),
    ),
    Row(
        "volts low after block",
        "bench",
        R.DROP,
        True,
        "volts_low_s",
        "volts more than {block_volts_percent:g} % low after a block",
        "The block was too large for the set.",
        _volts(lambda lim: 100.0 - lim.block_volts_percent, _low, True),
    ),
    Row(
        "over-current",
        "bench",
        R.UNLOAD,
        True,
        "over_current_s",
        "amps above {over_current_percent:g} % of rated",
        "Check the target and the phase balance.",
        _over_current,
    ),
    Row(
        "over-power",
        "bench",
        R.UNLOAD,
        True,
        "over_power_s",
        "the source carries more than {over_power_percent:g} %",
        "The site's own load may have come on.",
        lambda n: _high(n, n.seen.source_kw, n.settings.site.nameplate.power_kw, n.limits.over_power_percent),
    ),
    Row(
        "airflow lost",
        "unit",
        R.UNIT_OFF,
        True,
        "",
        "{unit}: airflow lost",
        "Check fan, belts, louvres, inlet. Do not touch hot parts.",
        _airflow_lost,
    ),
    Row(
        "load without air",
        "unit",
        R.UNIT_OFF,
        True,
        "",
        "{unit}: load on without airflow",
        "If the load does not come off, open the upstream breaker.",
        _airflow_lost_loaded,
    ),
    Row(
        "over-temperature",
        "unit",
        R.UNIT_OFF,
        True,
        "",
        "{unit}: exhaust too hot",
        "Check inlet, louvres, recirculation, fan direction.",
        _exhaust(lambda n: over_c(n.unit, n.s.reading, n.limits), 5.0),
    ),
    Row(
        "fan supply lost",
        "unit",
        R.UNIT_OFF,
        True,
        "",
        "{unit}: no supply for the fans",
        "Bring the fan supply back: hot resistors need air.",
        _known("fan_supply", False),
    ),
    Row(
        "unit volts high",
        "unit",
        R.UNIT_OFF,
        True,
        "",
        "{unit}: volts above its rating",
        "Check connection and taps of the unit, and the regulator.",
        _own_volts_high,
    ),
    Row(
        "contactor stuck closed",
        "unit",
        R.UNIT_OFF,
        True,
        "",
        "{unit}: a contactor does not open. OPEN THE UPSTREAM BREAKER",
        "Keep the fans running. Open the upstream breaker of this unit.",
        lambda n: n.u.welded != 0,
    ),
    Row(
        "did not follow",
        "unit",
        R.HOLD,
        True,
        "",
        "{unit}: an order is not in force",
        "Look at the unit: local, interlock, contactor, set point.",
        lambda n: n.u.unclosed != 0,
    ),
    Row(
        "load changed by someone else",
        "unit",
        R.HOLD,
        False,
        "",
        "{unit}: load changed by someone else",
        "Find the other master before going on. We do not write against it.",
        lambda n: n.u.foreign,
    ),
    Row(
        "load fell",
        "unit",
        R.HOLD,
        False,
        "",
        "{unit}: load went off by itself",
        "Ask the unit why. Nothing comes back by itself.",
        lambda n: n.u.fell,
    ),
    Row(
        "unit restarted",
        "unit",
        R.HOLD,
        False,
        "",
        "{unit}: restarted, its load is lost",
        "Join it again when you know why.",
        lambda n: n.u.restarted,
    ),
    Row(
        "unit swapped",
        "unit",
        R.UNIT_OFF,
        False,
        "",
        "{unit}: another unit answers in its place",
        "Check addresses and cables; join it only when you know which unit it is.",
        lambda n: n.u.swapped,
    ),
    Row(
        "unit lost",
        "unit",
        R.ALARM,
        False,
        "",
        "{unit}: no contact",
        "It drops its load by its own watchdog, if it has one. Check supply and network.",
        lambda n: n.u.lost,
    ),
    Row(
        "unit in local",
        "unit",
        R.HOLD,
        False,
        "",
        "{unit}: under its own panel",
        "It takes no orders. Put it back to remote and join it again.",
        lambda n: _known("remote", False)(n) if n.u.possible or n.was else False,
    ),
    Row(
        "draws less",
        "unit",
        R.ALARM,
        True,
        "",
        "{unit}: {missing} draws nothing",
        "Fuse, element or contactor pole: leave that stage out.",
        lambda n: any(m[2] >= 3 for m in n.u.missing),
    ),
    Row(
        "airflow proof stuck",
        "unit",
        R.ALARM,
        False,
        "",
        "{unit}: airflow proof says air with the fan off",
        "Mend the airflow switch: the unit cannot be loaded.",
        lambda n: n.u.stuck_air,
    ),
    Row(
        "hot, fans stopped",
        "unit",
        R.ALARM,
        False,
        "",
        "{unit}: HOT, FANS STOPPED",
        "After its emergency stop the fans wait for your confirmation.",
        lambda n: n.u.hot and n.u.fan_withdrawn,
    ),
    Row(
        "hot, no fan supply",
        "unit",
        R.ALARM,
        False,
        "",
        "{unit}: hot, its fans hang on the stopped source",
        "Start the source again until the unit is cool.",
        _source_gone_hot,
    ),
    Row(
        "cool-down too long",
        "unit",
        R.ALARM,
        False,
        "",
        "{unit}: not cool after {cooling_min:.0f} min",
        "Check air, sensor, recirculation. Only a recorded override ends it early.",
        lambda n: n.u.hot and n.u.cooling_s >= n.unit.profile.cooldown.alarm_s,
    ),
    Row(
        "exhaust warm",
        "unit",
        R.ALARM,
        False,
        "",
        "{unit}: exhaust hotter than expected",
        "Recirculation, blocked inlet or louvres?",
        _exhaust(lambda n: warn_c(n.unit, n.s.reading, n.limits), 3.0),
    ),
    Row("inlet warm", "unit", R.ALARM, False, "", "{unit}: hot air at the inlet", "Recirculation?", _inlet),
    Row(
        "temperature missing",
        "unit",
        R.ALARM,
        False,
        "",
        "{unit}: exhaust temperature is not known",
        "Cool-down runs its full time and is not ended without a decision.",
        _temperature_missing,
    ),
    Row(
        "volts off",
        "bench",
        R.ALARM,
        False,
        "volts_warn_s",
        "volts more than {volts_warn_percent:g} % from rated",
        "Check the regulator.",
        lambda n: (
            n.loaded
            and not _expecting_loss(n)
            and (
                _volts(lambda lim: 100.0 - lim.volts_warn_percent, _low, None)(n)
                or _volts(lambda lim: 100.0 + lim.volts_warn_percent, _high, None)(n)
            )
        ),
    ),
    Row(
        "hertz off",
        "bench",
        R.ALARM,
        False,
        "hertz_low_warn_s",
        "hertz more than {hertz_warn_percent:g} % from rated",
        "Check the governor.",
        lambda n: (
            n.loaded
            and not _expecting_loss(n)
            and (
                _hertz(lambda lim: 100.0 - lim.hertz_warn_percent, _low, False)(n)
                or _hertz(lambda lim: 100.0 + lim.hertz_warn_percent, _high, False)(n)
            )
        ),
    ),
    Row(
        "hertz high",
        "bench",
        R.ALARM,
        False,
        "",
        "hertz above {hertz_high_percent:g} %",
        "Load is not taken off: that would make it worse.",
        _hertz(lambda lim: lim.hertz_high_percent, _high, None),
    ),
    Row(
        "hertz not measured",
        "bench",
        R.ALARM,
        False,
        "hertz_low_s",
        "frequency measurement fault: volts without hertz",
        "Check the meter's settings.",
        lambda n: n.seen.hertz_fault and n.loaded,
    ),
    Row(
        "source meter lost",
        "bench",
        R.ALARM,
        False,
        "",
        "the meter at the source does not answer",
        "Limits of the source cannot be watched.",
        lambda n: n.loaded and n.limits.stale_s <= n.seen.source_age_s < 1e9,
    ),
    Row(
        "source meter frozen",
        "bench",
        R.ALARM,
        False,
        "",
        "the meter at the source does not move",
        "Its values are not used.",
        lambda n: n.seen.source_frozen,
    ),
    Row(
        "time gap",
        "bench",
        R.HOLD,
        False,
        "",
        "a hole in time: interrupted, operator decision",
        "The computer slept or stalled. Nothing catches up.",
        lambda n: n.seen.gap_s > 0.0,
    ),
    Row(
        "scan late",
        "bench",
        R.ALARM,
        False,
        "",
        "a scan took more than twice its period",
        "A slow link or a busy computer.",
        lambda n: n.seen.late and n.seen.gap_s == 0.0,
    ),
    Row(
        "record stopped",
        "bench",
        R.HOLD,
        False,
        "",
        "RECORDING STOPPED: what follows cannot be proven",
        "Free space or choose another folder; go on only if the record does not matter.",
        lambda n: n.seen.recorder_failed,
    ),
    Row(
        "short of target",
        "bench",
        R.ALARM,
        False,
        "settle_s",
        "the units left cannot give the target",
        "Lower the target, bring a unit back, or end the test.",
        _short,
    ),
)

BY_KEY: dict[str, Row] = {row.key: row for row in ROWS}
UNIT_ROWS = tuple(row for row in ROWS if row.scope == "unit")
BENCH_ROWS = tuple(row for row in ROWS if row.scope == "bench")
