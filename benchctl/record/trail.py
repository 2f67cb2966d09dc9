"""A run as a trail: the columns that assessment needs, read a page at a time, and what happened beside them.

Values are those of the meter at the source while they are not stale by the site's own time; what is stale, frozen or
missing is NaN. Without a meter at the source kW are those of the chain alone: at least these the source has carried,
and no reserve or reckoned load is ever counted.
"""

from array import array
from datetime import UTC, datetime, timedelta

from benchctl.assessment.trail import NAN, Entry, Hole, Logged, Trail
from benchctl.capture.store import traces_beside
from benchctl.core.decision import Settings
from benchctl.core.meters import fresh
from benchctl.core.perceive import gap_limit_s
from benchctl.core.reading import NONE3, Electrical, InstrumentReading, Maybe
from benchctl.core.site import Site
from benchctl.core.state import InstrumentState
from benchctl.field.answer import Answers
from benchctl.field.decode import InstrumentDecoder, basis
from benchctl.field.glimpse import Glimpse
from benchctl.record.deeds import deeds
from benchctl.record.fault import RecordFault
from benchctl.record.late import NOT_USED, amended, late_beside
from benchctl.record.papers import papers
from benchctl.record.reader import DAMAGE, Reader
from benchctl.record.rows import SWEEP, Readings, unpacked

COLUMNS = ("n", "wall_ns", "now_s", "volts_v", "hertz", "delivered_kw", "shape", "raw")
# The columns of a trail that a scan fills
FILLED = (
    "t_s", "power_kw", "volts_v", "hertz", "amps_a", "amps_b", "amps_c", "pair_ab", "pair_bc", "pair_ca",
)  # fmt: skip
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
        derated_kw=plate.derated_kw,
        refresh_s=settings.site.instruments[meter].refresh_s if meter is not None else settings.scan_period_s,
    )
    begun_s, first_wall_ns = _fill(reader, settings, meter, found)
    found.began = _moment(first_wall_ns, reader.meta.get("started", ""))
    late, left_out = late_beside(reader.path)
    told = amended(deeds(reader, settings, begun_s, found), late, reader.elapsed_s)
    found.noted, found.changes, found.stretches, found.entries = told.noted, told.changes, told.stretches, told.entries
    end = reader.end
    found.complete = end is not None and end.outcome not in ("interrupted", "fault", "chain lost") and not reader.gaps
    found.papers, found.flaws = papers(reader, settings, found, told)
    found.traces, unused = traces_beside(reader.path)
    found.entries += tuple(Entry(0.0, "capture not used", why, "") for why in unused)
    found.entries += tuple(Entry(0.0, NOT_USED, why, "") for why in left_out)
    return found


def meter_of(site: Site) -> int | None:
    """Index of the instrument that amps and phases are taken from; None where there is none."""
    for place in PLACES:
        for index, instrument in enumerate(site.instruments):
            if instrument.role == "meter" and instrument.place == place:
                return index
    return None


class _Follow:
    """Follows some instruments as `core/perceive.py` does: last answer, its age, a counter that stands still."""

    def __init__(self, site: Site, indices: list[int]) -> None:
        self._site, self._indices = site, indices
        self._wire: tuple[Glimpse, list[InstrumentDecoder]] | None = None  # made when the first bytes are there
        self._answers: tuple[Answers, ...] | None = None
        self._readings: list[InstrumentReading] = []
        self.kept = [InstrumentState() for _ in indices]

    def take(self, shape: str, raw: bytes, dt_s: float) -> list[InstrumentReading]:
        """The readings of a scan. Raises ValueError, zlib.error for damage."""
        if shape == SWEEP:
            glimpse, decoders = self._wire = self._wire or self._decoding()
            answers = glimpse.of(raw)
            if answers is not self._answers:  # else everything is as it was
                self._answers = answers
                self._readings = [d.reading(a) for d, a in zip(decoders, answers, strict=True)]
            readings = self._readings
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

    def _decoding(self) -> tuple[Glimpse, list[InstrumentDecoder]]:
        site = self._site
        nominal = basis(site.nameplate, site.limits.volts_present_percent)
        return Glimpse(site, self._indices), [InstrumentDecoder(site.instruments[i], nominal) for i in self._indices]


class _Panels:
    """What panels tell, every ten seconds: from the first scan then in which one answers."""

    def __init__(self, site: Site) -> None:
        indices = [i for i, instrument in enumerate(site.instruments) if instrument.role == "panel"]
        self._follow = _Follow(site, indices) if indices else None
        self._due_s = 0.0
        self._logged = {name: Logged(name, array("d"), array("d")) for name in PANEL}

    def take(self, t_s: float, shape: str, raw: bytes) -> None:
        """One scan. Raises as _Follow does."""
        if self._follow is None or t_s < self._due_s:
            return
        for reading in self._follow.take(shape, raw, 0.0):
            if not reading.outcome.tells:
                continue
            self._due_s = t_s + PANEL_EACH_S
            for name, one in self._logged.items():
                value = getattr(reading, name)
                if value is not None:
                    one.t_s.append(t_s)
                    one.values.append(value)

    def told(self) -> tuple[Logged, ...]:
        """The gauges that anything is known of."""
        return tuple(one for one in self._logged.values() if one.t_s)


def _fill(reader: Reader, settings: Settings, meter: int | None, found: Trail) -> tuple[float, int]:
    """The columns, holes, doubts and what panels tell; returns the begin's time and wall clock."""
    site = settings.site
    instrument = None if meter is None else site.instruments[meter]
    follow = _Follow(site, [] if meter is None else [meter])
    panels, doubts, holes = _Panels(site), _Doubts(site.nameplate.power_kw), []
    at_source = instrument is not None and instrument.place == "source"
    begun_s = before_s = None
    first_wall_ns, longest_s = 0, gap_limit_s(settings)
    puts = [getattr(found, name).append for name in FILLED]
    before: Electrical | None = None  # what the meter told in the scan before
    own_kw, more = None, _six(None)
    for n, wall_ns, now_s, volts_v, hertz, delivered_kw, shape, raw in reader.columns(*COLUMNS):
        if begun_s is None or before_s is None:
            begun_s = before_s = now_s
            first_wall_ns = wall_ns
        t_s = now_s - begun_s
        try:
            follow.take(shape, raw, now_s - before_s)
            panels.take(t_s, shape, raw)
        except DAMAGE as fault:
            raise RecordFault(f"{reader.path}: scan {n}: inputs are damaged: {fault}") from None
        if now_s - before_s > longest_s:
            holes.append(Hole(before_s - begun_s, t_s, "not observed"))
        before_s = now_s
        electrical = None
        if instrument is not None and fresh(follow.kept[0], instrument, site.limits.stale_s):
            electrical = follow.kept[0].last.electrical
        if electrical is not before:
            before, own_kw, more = electrical, None if electrical is None else electrical.total_kw, _six(electrical)
        power_kw = own_kw if at_source else delivered_kw
        for put, value in zip(puts, (t_s, power_kw, volts_v, hertz, *more), strict=True):
            put(NAN if value is None else value)
        doubts.take(t_s, electrical)
    found.holes, found.doubts, found.logged = tuple(holes), doubts.told(), panels.told()
    return begun_s or 0.0, first_wall_ns


def _six(told: Electrical | None) -> tuple[Maybe, ...]:
    """Amps and pairs of volts as the columns hold them."""
    return (*NONE3, *NONE3) if told is None else (*told.amps, *told.volts_ll)


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
        self._before: Electrical | None = None

    def take(self, t_s: float, electrical: Electrical | None) -> None:
        """One scan; an equal measurement is the same object."""
        self._last_s = t_s
        if electrical is None or electrical is self._before:
            return
        self._before = electrical
        known = [kw for kw in electrical.phase_kw if kw is not None]
        total_kw = electrical.total_kw
        if known and min(known) < -self._least_kw:
            kw = min(known)
            phase = "ABC"[electrical.phase_kw.index(kw)]
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
