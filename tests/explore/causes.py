"""What must follow from what: each cause of the interlocks, read from inputs alone, and the reaction that it must have.

Nothing here asks the product whether a cause is there: conditions, delays and reactions are stated a second time, from
the text of the project's table of interlocks. What a reaction asks of the orders stands in `tests/explore/notice.py`.
"""

from collections.abc import Callable
from dataclasses import dataclass

from benchctl.core.command import Verb
from benchctl.core.inputs import Inputs, Recorder
from benchctl.core.levels import lowers
from benchctl.core.orders import Write
from benchctl.core.reading import Electrical, UnitReading
from benchctl.core.site import Site, Unit
from tests.laws.rules import Watched

GAP_S = 8.0  # four scans


@dataclass(frozen=True, slots=True)
class Look:
    """What a cause is read from. loaded: some load is read back; kept, watched: what is remembered of the unit."""

    site: Site
    inputs: Inputs
    source: Electrical
    loaded: bool
    block: bool | None  # the window after a block; None: it may be one or not
    unit: Unit
    reading: UnitReading
    load: int
    kept: "Kept"
    watched: Watched
    closing: Write


@dataclass(frozen=True, slots=True)
class Kept:
    """What is remembered of one unit: orders, and what it said."""

    wanted: int = 0
    sent: int | None = None
    fan_scans: int = 0
    serial: str = ""
    uptime_s: float = 0.0
    off: bool = False


Cause = Callable[[Look], bool]


@dataclass(frozen=True, slots=True)
class Row:
    """One cause. row: the key of the interlock that answers for it; delay: a field of Limits, or none."""

    row: str
    reaction: str
    cause: Cause
    delay: str = ""
    latch: bool = True
    per_unit: bool = True


def _percent(value: float | None, of: float) -> float:
    return 100.0 if value is None else 100.0 * value / of


def _volts(n: Look) -> float:
    known = [v for v in n.source.volts_ll if v is not None]
    return _percent(sum(known) / len(known), n.site.nameplate.volts) if known else 100.0


def _hertz(n: Look) -> float:
    return _percent(n.source.hertz, n.site.nameplate.hertz)


def _stuck(n: Look) -> bool:
    """It has more on than we hold ordered, though nobody else has closed anything."""
    known = n.load == n.watched.may or lowers(n.unit.profile, n.load, n.watched.may)
    beyond = n.load != n.kept.wanted and not lowers(n.unit.profile, n.load, n.kept.wanted)
    return known and beyond and n.watched.joined and n.reading.remote is not False


def _foreign(n: Look) -> bool:
    w = n.watched
    return w.joined and n.load != w.may and not lowers(n.unit.profile, n.load, w.may)


def _less(n: Look) -> bool:
    return n.load != n.kept.wanted and not lowers(n.unit.profile, n.kept.wanted, n.load)


def _explained(n: Look) -> bool:
    """It says itself why its load is off, or that it has just started."""
    r = n.reading
    return r.airflow is False or r.fan_supply is False or r.emergency_stop is True or _restarted(n)


def _restarted(n: Look) -> bool:
    return (n.reading.uptime_s or 0.0) < n.kept.uptime_s - 0.5


def _serial(n: Look) -> bool:
    if any(c.verb is Verb.JOIN and c.why and n.site.units[c.unit or 0] is n.unit for c in n.inputs.commands):
        return False  # a person says that it is right
    return bool(n.kept.serial) and n.reading.serial not in (None, n.kept.serial)


def _phase(n: Look) -> bool:
    known = [v for v in n.source.volts_ll if v is not None]
    return len(known) > 1 and max(known) > 200.0 and min(known) < 0.6 * max(known)


def _amps(n: Look) -> bool:
    plate = n.site.nameplate
    rated_a: float = plate.apparent_kva * 1000.0 / (3.0**0.5 * plate.volts)
    return max([0.0, *[a for a in n.source.amps if a is not None]]) > 1.1 * rated_a


# fmt: off
ROWS: tuple[Row, ...] = (
    Row("site needs the set", "drop", lambda n: True in (n.inputs.instruments[0].site_needs_set, *[
        r.site_needs_set for r in n.inputs.units]), per_unit=False),
    Row("emergency stop", "drop", lambda n: n.reading.emergency_stop is True),
    Row("phase lost", "drop", _phase, "hertz_stall_s", per_unit=False),
    Row("hertz stall", "drop", lambda n: n.loaded and _hertz(n) < 85.0, "hertz_stall_s", per_unit=False),
    Row("hertz low", "drop", lambda n: n.loaded and n.block is False and _hertz(n) < 93.0, "hertz_low_s",
        per_unit=False),
    Row("hertz low after block", "drop", lambda n: n.loaded and n.block is True and _hertz(n) < 90.0, "hertz_low_s",
        per_unit=False),
    Row("volts very low", "drop", lambda n: n.loaded and n.block is False and _volts(n) < 80.0, "volts_low_s",
        per_unit=False),
    Row("volts low", "drop", lambda n: n.loaded and n.block is False and _volts(n) < 90.0, "volts_trip_s",
        per_unit=False),
    Row("volts low after block", "drop", lambda n: n.loaded and n.block is True and _volts(n) < 80.0, "volts_low_s",
        per_unit=False),
    Row("over-current", "unload", _amps, "over_current_s", per_unit=False),
    Row("over-power", "unload", lambda n: _percent(n.source.power_kw, n.site.nameplate.power_kw) > 110.0,
        "over_power_s", per_unit=False),
    Row("airflow lost", "off", lambda n: n.kept.fan_scans > 1 and n.reading.airflow is False),
    Row("load without air", "off", lambda n: n.load > 0 and n.reading.airflow is False),
    Row("air not known", "off", lambda n: n.load > 0 and n.reading.airflow is None, "stale_s"),
    Row("over-temperature", "off", lambda n: (n.reading.exhaust_c or 0.0) >= n.unit.profile.exhaust_trip_c),
    Row("fan supply lost", "off", lambda n: n.reading.fan_supply is False),
    Row("unit volts high", "off", lambda n: n.load > 0 and _volts(n) > 110.0),
    Row("contactor stuck closed", "off", _stuck, "follow_s"),
    Row("unit swapped", "off", _serial, latch=False),
    Row("did not follow", "hold", lambda n: n.kept.sent is not None and n.closing is not Write.NOT_SENT and _less(n),
        latch=False),
    Row("load changed by someone else", "hold", _foreign, latch=False),
    Row("load fell", "hold", lambda n: n.kept.sent is None and _less(n) and not _explained(n), latch=False),
    Row("unit restarted", "hold", _restarted, latch=False),
    Row("unit in local", "hold", lambda n: n.load > 0 and n.reading.remote is False, latch=False),
    Row("time gap", "hold", lambda n: n.inputs.dt_s > GAP_S, latch=False, per_unit=False),
    Row("record stopped", "hold", lambda n: n.inputs.recorder is Recorder.FAILED, latch=False, per_unit=False),
)
# fmt: on
ANSWERS = frozenset(row.row for row in ROWS) | {"no unit left"}  # the rows of the product's table
