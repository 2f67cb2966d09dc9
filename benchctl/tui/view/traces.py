"""The values over time that a console remembers: bounded, the older the coarser, missing ones as gaps."""

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from benchctl.core.shown import Snapshot
from benchctl.tui.view.rings import Range, Rings

CHANNELS = (
    *("target_kw", "given_kw", "delivered_kw", "source_kw", "site_kw"),
    *("volts_v", "hertz", "amps_a", "amps_b", "amps_c", "hottest_c"),
)
COURSE = ("asked_kw", "given_kw", "delivered_kw")  # over program time; asked of the chain
HOLD_S = 5.0  # rows of the past that are so near to each other are joined in any case
STALE_S = 2.0  # a measurement older than this is none
HOLES = 16  # stretches that nobody has seen yet, at most

_PLACE = {name: place for place, name in enumerate(CHANNELS)}
_COURSE_PLACE = {name: place for place, name in enumerate(COURSE)}

Row = Mapping[str, float | None]


@dataclass(slots=True)
class Traces:
    """Fed with every scan. Over the bench's own time, and while a program runs over program time too."""

    _time: Rings = field(default_factory=lambda: Rings(len(CHANNELS)))
    _course: Rings = field(default_factory=lambda: Rings(len(COURSE)))
    _holes: "deque[tuple[float, float]]" = field(default_factory=lambda: deque(maxlen=HOLES))
    _program: str = ""

    @property
    def newest_s(self) -> float | None:
        """The bench's time of the newest values."""
        return self._time.last_s

    @property
    def length_s(self) -> float:
        """From the oldest values to the newest."""
        first_s, last_s = self._time.first_s, self._time.last_s
        return 0.0 if first_s is None or last_s is None else last_s - first_s

    @property
    def program(self) -> str:
        """The program that ran last, of which `course` tells."""
        return self._program

    @property
    def course_s(self) -> float | None:
        """Program time of the newest values of the course."""
        return self._course.last_s

    def feed(self, now: Snapshot, *, joined: bool = True) -> None:
        """A scan. joined: nothing was missed since the one before. A jump back in time is another bench: all anew."""
        at_s, last_s = now.now_s, self._time.last_s
        held = joined and now.gap_s <= 0.0
        if last_s is None or at_s < last_s:
            self._holes.clear()
            self._holes.append((float("-inf"), at_s))
            self._course.clear()
        elif not joined:
            self._holes.append((last_s, at_s))
        self._time.put(at_s, _values(now), held=held)
        if now.mode == "running":
            if now.program != self._program:
                self._course.clear()
            self._program = now.program
            self._course.put(now.program_s, (now.chain_target_kw, _given_kw(now), now.delivered_kw), held=held)

    def before(self, rows: Sequence[Row], begun_s: float | None = None) -> None:
        """What the run host remembers, in order of now_s: fills only stretches between scans that were fed.

        begun_s: when the program in hand began, if it has run without a stop since; fills its course too.
        """
        times = [row["now_s"] or 0.0 for row in rows]
        for i, row in enumerate(rows):
            at_s = times[i]
            usual_s = at_s - times[i - 1] if i else times[2] - times[1] if len(times) > 2 else HOLD_S
            next_s = times[i + 1] if i + 1 < len(rows) else at_s
            until_s = next_s if next_s - at_s <= max(HOLD_S, 2.5 * usual_s) else at_s
            values = [row.get(name) for name in CHANNELS]
            for from_s, to_s in self._holes:
                begin_s, end_s = max(at_s, from_s), min(until_s, to_s)
                if begin_s <= end_s and begin_s < to_s:
                    self._time.fill(begin_s, end_s, values)
                    if begun_s is not None and begin_s >= begun_s:
                        delivered = (None, None, row.get("delivered_kw"))
                        self._course.fill(begin_s - begun_s, end_s - begun_s, delivered)

    def filled(self) -> None:
        """All that the run host remembers has come."""
        self._holes.clear()

    def of(self, channel: str, from_s: float, to_s: float, columns: int) -> list[Range | None]:
        """Lowest and highest of a channel over each of so many equal stretches of the bench's time; None = gap."""
        return self._time.of(_PLACE[channel], from_s, to_s, columns)

    def course(self, channel: str, from_s: float, to_s: float, columns: int) -> list[Range | None]:
        """The same over program time, of the program that ran last."""
        return self._course.of(_COURSE_PLACE[channel], from_s, to_s, columns)

    def newest(self, channel: str) -> float | None:
        """The newest value of a channel, None where it is missing."""
        return self._time.newest(_PLACE[channel])

    def at(self, channel: str, at_s: float) -> Range | None:
        """A channel at a moment, as finely as it is remembered; a value holds until the next."""
        return self._time.at(_PLACE[channel], at_s)


def _given_kw(now: Snapshot) -> float | None:
    """What the stages that are read back closed give; known only when every bank is read back."""
    return now.read_back_kw if now.read_back_units == len(now.units) else None


def _values(now: Snapshot) -> tuple[float | None, ...]:
    """In the order of CHANNELS. A measurement that does not move any more, is old or of an unknown age, is none."""
    s = now.source
    told = (s.power_kw, s.site_kw, s.volts_v, s.hertz, *s.amps)
    return (
        now.target_kw,
        _given_kw(now),
        now.delivered_kw,
        *((None,) * len(told) if s.frozen or not _fresh(s.age_s, now) else told),
        hottest_c(now),
    )


def hottest_c(now: Snapshot) -> float | None:
    """The hottest exhaust of the banks that are heard of."""
    return max((u.exhaust_c for u in now.units if u.exhaust_c is not None and _fresh(u.age_s, now)), default=None)


def _fresh(age_s: float | None, now: Snapshot) -> bool:
    return age_s is not None and age_s <= max(STALE_S, 3.0 * now.dt_s)


def rows_of(columns: Iterable[str], rows: Iterable[Sequence[float | None]]) -> list[Row]:
    """A run host's history as rows by name; rows without a time are left out."""
    names = tuple(columns)
    made = [dict(zip(names, row, strict=False)) for row in rows]
    return [row for row in made if row.get("now_s") is not None]
