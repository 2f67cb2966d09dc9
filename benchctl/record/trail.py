"""A run as a trail: the columns that assessment needs, read a page at a time, and what happened beside them.

Values are those of the meter at the source while they are not stale by the site's own time; what is stale, frozen or
missing is NaN. Without a meter at the source kW are those of the chain alone: at least these the source has carried,
and no reserve or reckoned load is ever counted.
"""

from array import array
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from benchctl.assessment.trail import NAN, Hole, Logged, Trail
from benchctl.core.decision import Settings
from benchctl.core.meters import fresh
from benchctl.core.perceive import gap_limit_s
from benchctl.core.reading import Electrical, InstrumentReading, Maybe
from benchctl.core.site import Site
from benchctl.core.state import InstrumentState
from benchctl.field.decode import InstrumentDecoder, basis
from benchctl.field.glimpse import Glimpse
from benchctl.record.deeds import deeds
from benchctl.record.fault import RecordFault
from benchctl.record.papers import papers
from benchctl.record.reader import DAMAGE, Reader
from benchctl.record.rows import SWEEP, Readings, unpacked

COLUMNS = ("n", "wall_ns", "now_s", "volts_v", "hertz", "delivered_kw", "shape", "raw")
PANEL = ("oil_kpa", "coolant_c", "fuel_percent", "battery_v", "speed_rpm")
PANEL_EACH_S = 10.0  # what a panel tells is slow; a value so often is enough for readings at their interval
NEGATIVE = 0.01  # share of nameplate by which kW of a phase must be negative to be no noise
PLACES = ("source", "chain")  # whose meter tells volts, amps and phases, the first that is there


def trail(reader: Reader) -> Trail:
    """The trail of a run. Raises RecordFault for damage."""
    settings = reader.settings
    plate = settings.site.nameplate
    meter = meter_of(settings.site)
    found = Trail(
        began="",
        nameplate_kw=plate.power_kw,
        rated_v=plate.volts,
        rated_hz=plate.hertz,
        refresh_s=settings.site.instruments[meter].refresh_s if meter is not None else settings.scan_period_s,
    )
    begun_s, first_wall_ns = _fill(reader, settings, meter, found)
    found.began = _moment(first_wall_ns, reader.meta.get("started", ""))
    told = deeds(reader, settings, begun_s, found)
    found.noted, found.changes, found.stretches, found.entries = told.noted, told.changes, told.stretches, told.entries
    end = reader.end
    found.complete = end is not None and end.outcome not in ("interrupted", "fault", "chain lost") and not reader.gaps
    found.papers, found.flaws = papers(reader, settings, found, told)
    return found


def meter_of(site: Site) -> int | None:
    """Index of the instrument that amps and phases are taken from; None where there is none."""
    for place in PLACES:
        for index, instrument in enumerate(site.instruments):
            if instrument.role == "meter" and instrument.place == place:
                return index
    return None


class _Follow:
    """Follows some instruments scan by scan as `core/perceive.py` does: last answer, its age, a counter that stands."""

    def __init__(self, site: Site, indices: list[int]) -> None:
        nominal = basis(site.nameplate, site.limits.volts_present_percent)
        self._glimpse = Glimpse(site, indices)
        self._indices = indices
        self._decoders = [InstrumentDecoder(site.instruments[i], nominal) for i in indices]
        self.kept = [InstrumentState() for _ in indices]

    def take(self, shape: str, raw: bytes, dt_s: float) -> list[InstrumentReading]:
        """The readings of a scan. Raises ValueError, zlib.error for damage."""
        if shape == SWEEP:
            answers = self._glimpse.of(raw)
            readings = [d.reading(a) for d, a in zip(self._decoders, answers, strict=True)]
        else:
            heard: Readings = unpacked(Readings, raw)
            readings = [heard.instruments[i] for i in self._indices]
        for kept, reading in zip(self.kept, readings, strict=True):
            if not reading.outcome.tells:
                kept.age_s = min(kept.age_s + dt_s, 1e9)
                continue
            counter, before = reading.electrical.refresh_count, kept.last.electrical.refresh_count
            kept.frozen_s = kept.frozen_s + dt_s if counter is not None and counter == before else 0.0
            kept.last, kept.age_s = reading, 0.0
        return readings


def _fill(reader: Reader, settings: Settings, meter: int | None, found: Trail) -> tuple[float, int]:
    """The columns, holes, doubts and what panels tell; returns the begin's time and wall clock."""
    site = settings.site
    panels = [i for i, instrument in enumerate(site.instruments) if instrument.role == "panel"]
    follow = _Follow(site, ([] if meter is None else [meter]) + panels)
    at_source = meter is not None and site.instruments[meter].place == "source"
    logged = {name: Logged(name, array("d"), array("d")) for name in PANEL}
    doubts = _Doubts(site.nameplate.power_kw)
    begun_s = before_s = None
    first_wall_ns, logged_s = 0, -PANEL_EACH_S
    longest_s = gap_limit_s(settings)
    for n, wall_ns, now_s, volts_v, hertz, delivered_kw, shape, raw in _columns(reader):
        if begun_s is None or before_s is None:
            begun_s = before_s = now_s
            first_wall_ns = wall_ns
        try:
            readings = follow.take(shape, raw, now_s - before_s)
        except DAMAGE as fault:
            raise RecordFault(f"{reader.path}: scan {n}: inputs are damaged: {fault}") from None
        t_s = now_s - begun_s
        if now_s - before_s > longest_s:
            found.holes = (*found.holes, Hole(before_s - begun_s, t_s, "not observed"))
        before_s = now_s
        electrical = None
        if meter is not None and fresh(follow.kept[0], site.instruments[meter], site.limits.stale_s):
            electrical = follow.kept[0].last.electrical
        power_kw = (electrical.total_kw if electrical else None) if at_source else delivered_kw
        _append(found, t_s, power_kw, volts_v, hertz, electrical)
        doubts.take(t_s, electrical)
        if panels and t_s - logged_s >= PANEL_EACH_S:
            logged_s = t_s
            _log(logged, t_s, readings[-len(panels) :])
    found.doubts = doubts.told()
    found.logged = tuple(one for one in logged.values() if one.t_s)
    return begun_s or 0.0, first_wall_ns


def _columns(reader: Reader) -> Iterator[tuple[Any, ...]]:
    return reader.columns(*COLUMNS)


def _append(found: Trail, t_s: float, power_kw: Maybe, volts_v: Maybe, hertz: Maybe, told: Electrical | None) -> None:
    found.t_s.append(t_s)
    found.power_kw.append(_or_nan(power_kw))
    found.volts_v.append(_or_nan(volts_v))
    found.hertz.append(_or_nan(hertz))
    amps = told.amps if told is not None else (None, None, None)
    pairs = told.volts_ll if told is not None else (None, None, None)
    for column, value in zip((found.amps_a, found.amps_b, found.amps_c), amps, strict=True):
        column.append(_or_nan(value))
    for column, value in zip((found.pair_ab, found.pair_bc, found.pair_ca), pairs, strict=True):
        column.append(_or_nan(value))


def _or_nan(value: Maybe) -> float:
    return NAN if value is None else value


def _log(logged: dict[str, Logged], t_s: float, panels: list[InstrumentReading]) -> None:
    for reading in panels:
        if not reading.outcome.tells:
            continue
        for name, one in logged.items():
            value = getattr(reading, name)
            if value is not None:
                one.t_s.append(t_s)
                one.values.append(value)


class _Doubts:
    """Times in which a phase returns power, which no resistive load can: its transformer is the wrong way round.

    They last until the meter shows load on all phases the right way round.
    """

    def __init__(self, nameplate_kw: float) -> None:
        self._least_kw = NEGATIVE * nameplate_kw
        self._holes: list[Hole] = []
        self._since_s: float | None = None
        self._why = ""
        self._last_s = 0.0

    def take(self, t_s: float, electrical: Electrical | None) -> None:
        """One scan."""
        self._last_s = t_s
        if electrical is None:
            return
        known = [kw for kw in electrical.phase_kw if kw is not None]
        wrong = [(phase, kw) for phase, kw in zip("ABC", electrical.phase_kw, strict=True) if kw is not None]
        wrong = [(phase, kw) for phase, kw in wrong if kw < -self._least_kw]
        total_kw = electrical.total_kw
        if wrong:
            phase, kw = wrong[0]
            self._begin(t_s, f"phase {phase} shows {kw:.1f} kW: its current transformer is turned round")
        elif total_kw is not None and total_kw < -self._least_kw:
            self._begin(t_s, f"{total_kw:.1f} kW: the current transformers are turned round")
        elif self._since_s is not None and known and min(known) > self._least_kw:
            self._end(t_s)

    def _begin(self, t_s: float, why: str) -> None:
        if self._since_s is None:
            self._since_s, self._why = t_s, why

    def _end(self, t_s: float) -> None:
        if self._since_s is not None:
            self._holes.append(Hole(self._since_s, t_s, self._why))
            self._since_s = None

    def told(self) -> tuple[Hole, ...]:
        """All of them, the open one up to the last scan."""
        self._end(self._last_s)
        return tuple(self._holes)


def _moment(wall_ns: int, started: str) -> str:
    """ISO 8601 with the offset of the place where the run was started; UTC where that is not known."""
    try:
        zone = datetime.fromisoformat(started).tzinfo
    except ValueError:
        zone = None
    utc = datetime.fromtimestamp(0, UTC) + timedelta(microseconds=wall_ns // 1000)
    return utc.astimezone(zone or UTC).isoformat(timespec="seconds")
