"""The table of alarms and interlocks: what is noticed, after which delay, what it does, whether it latches, the text.

A reaction acts as long as the alarm is active or latched; `core/interlocks.py` says what each does. Texts may name
fields of Limits. The conditions stand in `core/conditions.py`.
"""

from dataclasses import dataclass

from benchctl.core import conditions as c
from benchctl.core.profile import Reaction
from benchctl.core.state import Mode
from benchctl.core.thermal import over_c, warn_c


@dataclass(frozen=True, slots=True)
class Row:
    """One cause. scope: "unit" or "bench". delay: name of a field of Limits in seconds, or empty for at once.

    further: name of a value of SeenUnit (of a bench's row: of Seen) that is not zero in a scan in which the cause shows
    once more, be it elsewhere in the unit: it is then told and reacted to anew, whatever was answered before.
    ends: a reset ends the cause itself, not only what it latched.
    shelve: it may be set aside for a while: it only tells, and not of air, heat, a lost unit or absence.
    """

    key: str
    scope: str
    reaction: Reaction
    latch: bool
    delay: str
    text: str
    help: str
    active: c.Active
    further: str = ""
    ends: bool = False
    shelve: bool = False


DROP, UNLOAD, OFF, HOLD, ALARM = (
    Reaction.DROP, Reaction.UNLOAD, Reaction.UNIT_OFF, Reaction.HOLD, Reaction.ALARM)  # fmt: skip
LATCH, FREE = True, False

# fmt: off
ROWS: tuple[Row, ...] = (
    Row("site needs the set", "bench", DROP, LATCH, "", "the site needs the set",
        "Leave the set to the site. Reset only when the site has released it.",
        lambda n: n.seen.site_needs_set),
    Row("emergency stop", "unit", DROP, LATCH, "", "emergency stop operated at {unit}",
        "Go and look. Fans of that unit start again only when confirmed.",
        c.known("emergency_stop", True)),
    Row("phase lost", "bench", DROP, LATCH, "hertz_stall_s", "a phase of the source is lost",
        "Check breaker poles, cables and the regulator.",
        c.phase_lost),
    Row("hertz stall", "bench", DROP, LATCH, "hertz_stall_s", "hertz below {hertz_stall_percent:g} %: the set stalls",
        "The load was too much or the fuel too little.",
        c.hertz(lambda lim: lim.hertz_stall_percent, c.low, None)),
    Row("hertz low", "bench", DROP, LATCH, "hertz_low_s", "hertz below {hertz_low_percent:g} %",
        "The set is overloaded: check filters, fuel, governor, rating.",
        c.hertz(lambda lim: lim.hertz_low_percent, c.low, False)),
    Row("hertz low after block", "bench", DROP, LATCH, "hertz_low_s",
        "hertz more than {block_hertz_percent:g} % below rated after a block",
        "The block was too large for the set.",
        c.hertz(lambda lim: 100.0 - lim.block_hertz_percent, c.low, True)),
    Row("volts very low", "bench", DROP, LATCH, "volts_low_s", "volts below {volts_low_percent:g} %",
        "Check the regulator, the breaker and the cables.",
        c.volts(lambda lim: lim.volts_low_percent, c.low, False)),
    Row("volts low", "bench", DROP, LATCH, "volts_trip_s", "volts more than {volts_trip_percent:g} % low",
        "Check the regulator and the load.",
        c.volts(lambda lim: 100.0 - lim.volts_trip_percent, c.low, False)),
    Row("volts low after block", "bench", DROP, LATCH, "volts_low_s",
        "volts more than {block_volts_percent:g} % low after a block",
        "The block was too large for the set.",
        c.volts(lambda lim: 100.0 - lim.block_volts_percent, c.low, True)),
    Row("over-current", "bench", UNLOAD, LATCH, "over_current_s", "amps above {over_current_percent:g} % of rated",
        "Check the target and the phase balance.",
        c.over_current),
    Row("over-power", "bench", UNLOAD, LATCH, "over_power_s", "the source carries more than {over_power_percent:g} %",
        "The site's own load may have come on.",
        c.over_power),
    Row("airflow lost", "unit", OFF, LATCH, "", "{unit}: airflow lost",
        "Check fan, belts, louvres, inlet. Do not touch hot parts.",
        c.airflow_lost),
    Row("load without air", "unit", OFF, LATCH, "", "{unit}: load on without airflow",
        "If the load does not come off, open the upstream breaker.",
        c.airflow_lost_loaded),
    Row("air not known", "unit", OFF, LATCH, "stale_s", "{unit}: airflow is not known",
        "Check the airflow switch and its wiring.",
        c.air_unknown),
    Row("over-temperature", "unit", OFF, LATCH, "", "{unit}: exhaust too hot",
        "Check inlet, louvres, recirculation, fan direction.",
        c.exhaust(lambda n: over_c(n.unit, n.s.reading, n.limits), 5.0)),
    Row("fan supply lost", "unit", OFF, LATCH, "", "{unit}: no supply for the fans",
        "Bring the fan supply back: hot resistors need air.",
        c.known("fan_supply", False)),
    Row("unit volts high", "unit", OFF, LATCH, "", "{unit}: volts above its rating",
        "Check connection and taps of the unit, and the regulator.",
        c.own_volts_high),
    Row("contactor stuck closed", "unit", OFF, LATCH, "", "{unit}: a contactor does not open: OPEN ITS BREAKER",
        "Keep the fans running. Open the upstream breaker of this unit.",
        c.Flag("welded"), further="welded"),
    Row("did not follow", "unit", HOLD, LATCH, "", "{unit}: an order is not in force",
        "Look at the unit: local, interlock, contactor, set point.",
        c.Flag("unclosed"), further="unclosed", ends=True),
    Row("load changed by someone else", "unit", HOLD, FREE, "", "{unit}: load changed by someone else",
        "Find the other master before going on. We do not write against it.",
        c.Flag("foreign"), further="foreign"),
    Row("load fell", "unit", HOLD, FREE, "", "{unit}: load went off by itself",
        "Ask the unit why. Nothing comes back by itself.",
        c.Flag("fell"), further="fell"),
    Row("unit restarted", "unit", HOLD, FREE, "", "{unit}: restarted, its load is lost",
        "Join it again when you know why.",
        c.Flag("restarted"), further="restarted"),
    Row("unit swapped", "unit", OFF, FREE, "", "{unit}: another unit answers in its place",
        "Check addresses and cables; join it only when you know which unit it is.",
        c.Flag("swapped")),
    Row("unit lost", "unit", ALARM, FREE, "", "{unit}: no contact; join it again when it answers",
        "It drops its load by its own watchdog, if it has one. Check supply and network.",
        c.Flag("lost")),
    Row("unit in local", "unit", HOLD, FREE, "", "{unit}: under its own panel",
        "It takes no orders. Put it back to remote and join it again.",
        c.local_loaded),
    Row("draws less", "unit", ALARM, LATCH, "", "{unit}: {missing} draws nothing",
        "Fuse, element or contactor pole: leave that stage out.",
        lambda n: bool(n.u.missing) and any(scans >= 3 for _, _, scans in n.u.missing),
        further="missing", ends=True, shelve=True),
    Row("kW do not match", "bench", ALARM, FREE, "settle_s",
        "{delivered_kw:.0f} kW delivered where the closed stages should draw {confirmed_kw:.0f} kW",
        "A transformer ratio, a meter at the wrong place, or elements that draw nothing?",
        c.kw_mismatch, shelve=True),
    Row("airflow proof stuck", "unit", ALARM, FREE, "", "{unit}: airflow proof says air with the fan off",
        "Mend the airflow switch: the unit cannot be loaded.",
        c.Flag("stuck_air")),
    Row("hot, fans stopped", "unit", ALARM, FREE, "", "{unit}: HOT, FANS STOPPED",
        "After its emergency stop the fans wait for your confirmation.",
        lambda n: n.u.hot and n.u.fan_withdrawn),
    Row("hot, no fan supply", "unit", ALARM, FREE, "", "{unit}: hot, its fans hang on the stopped source",
        "Start the source again until the unit is cool.",
        c.source_gone_hot),
    Row("cool-down too long", "unit", ALARM, FREE, "", "{unit}: not cool after {cooling_min:.0f} min",
        "Check air, sensor, recirculation. Only a recorded override ends it early.",
        lambda n: n.u.hot and n.u.cooling_s >= n.unit.profile.cooldown.alarm_s),
    Row("exhaust warm", "unit", ALARM, FREE, "", "{unit}: exhaust hotter than expected",
        "Recirculation, blocked inlet or louvres?",
        c.exhaust(lambda n: warn_c(n.unit, n.s.reading, n.limits), 3.0)),
    Row("inlet warm", "unit", ALARM, FREE, "", "{unit}: hot air at the inlet",
        "Recirculation?",
        c.inlet),
    Row("temperature missing", "unit", ALARM, FREE, "stale_s", "{unit}: exhaust temperature is not known",
        "Cool-down runs its full time and is not ended without a decision.",
        c.temperature_missing),
    Row("volts off", "bench", ALARM, FREE, "volts_warn_s", "volts more than {volts_warn_percent:g} % from rated",
        "Check the regulator.",
        c.volts_off, shelve=True),
    Row("hertz off", "bench", ALARM, FREE, "hertz_low_warn_s", "hertz more than {hertz_warn_percent:g} % from rated",
        "Check the governor.",
        c.hertz_off, shelve=True),
    Row("hertz below warning", "bench", ALARM, FREE, "hertz_low_warn_s", "hertz below {hertz_low_warn_percent:g} %",
        "The set is near its limit: lower the load.",
        c.hertz(lambda lim: lim.hertz_low_warn_percent, c.low, False), shelve=True),
    Row("hertz high", "bench", ALARM, FREE, "", "hertz above {hertz_high_percent:g} %",
        "Load is not taken off: that would make it worse.",
        c.hertz(lambda lim: lim.hertz_high_percent, c.high, None), shelve=True),
    Row("hertz not measured", "bench", ALARM, FREE, "hertz_low_s", "frequency measurement fault: volts without hertz",
        "Check the meter's settings.",
        lambda n: n.seen.hertz_fault and n.loaded, shelve=True),
    Row("source meter lost", "bench", ALARM, FREE, "", "the meter at the source does not answer",
        "Limits of the source cannot be watched.",
        lambda n: n.loaded and n.limits.stale_s <= n.seen.source_age_s < 1e9, shelve=True),
    Row("source meter frozen", "bench", ALARM, FREE, "", "the meter at the source does not move",
        "Its values are not used.",
        lambda n: n.seen.source_frozen, shelve=True),
    Row("source meter low", "bench", ALARM, FREE, "settle_s",
        "the meter at the source shows {source_kw:.0f} kW where the units draw {delivered_kw:.0f} kW",
        "A transformer reversed, a ratio, or another source on the same bus? Its limits are not watched rightly.",
        c.source_low, shelve=True),
    Row("nobody attached", "bench", ALARM, FREE, "", "nobody is attached",
        "Attach a console: load without one comes off in steps after the site's time.",
        lambda n: n.state.alone_s > 0.0),
    Row("no sign of a person", "bench", ALARM, FREE, "", "no sign of a person: check in",
        "Check in, or the load comes off in steps.",
        c.no_person),
    Row("load found on", "unit", ALARM, FREE, "", "{unit}: load is on that this session did not start",
        "Adopt it, unload it, or drop it.",
        c.Flag("found")),
    Row("time gap", "bench", HOLD, FREE, "", "a hole in time: interrupted, operator decision",
        "The computer slept or stalled. Nothing catches up.",
        lambda n: n.seen.gap_s > 0.0, further="gap_s"),
    Row("scan late", "bench", ALARM, FREE, "", "a scan took more than twice its period",
        "A slow link or a busy computer.",
        lambda n: n.seen.late and n.seen.gap_s == 0.0, shelve=True),
    Row("record stopped", "bench", HOLD, FREE, "", "RECORDING STOPPED: what follows cannot be proven",
        "Free space or choose another folder; go on only if the record does not matter.",
        lambda n: n.seen.recorder_failed),
    Row("no unit left", "bench", HOLD, FREE, "", "no unit is left that can be loaded",
        "Bring a unit back and join it, or end the test.",
        c.none_left),
    Row("short of target", "bench", ALARM, FREE, "settle_s", "the units left cannot give the target",
        "Lower the target, bring a unit back, or end the test.",
        lambda n: n.state.mode is Mode.RUN and c.short(n), shelve=True),
)
# fmt: on

BY_KEY: dict[str, Row] = {row.key: row for row in ROWS}
UNIT_ROWS = tuple(row for row in ROWS if row.scope == "unit")
BENCH_ROWS = tuple(row for row in ROWS if row.scope == "bench")
