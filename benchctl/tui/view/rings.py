"""Values over time in bounded memory: the newest in fine steps, older ones as lowest and highest of coarser steps.

Theory. Time is cut into steps of 0.25 s, 1 s, 4 s ... 256 s; of each length the newest 2048 are kept, six days in all.
A step holds the lowest and the highest of what fell into it; the place of a step in its ring is its number modulo
2048, so that a time is found without looking for it. An empty step has a lowest of +inf and a highest of -inf: the
extremes of any stretch are then plain minima and maxima, and a stretch without values shows itself.

A value holds until the next one comes, unless somebody says that there is a hole between them; a hole is a gap, as is
a value that is missing. Merging the same value twice changes nothing, so nothing can be counted double.
"""

import math
from array import array
from collections.abc import Sequence

STEPS_S = (0.25, 1.0, 4.0, 16.0, 64.0, 256.0)
KEPT = 2048
SHARE = 4  # steps to a stretch that is asked for, at least: by so little of it a value may stand in the one beside it
REMEMBERED = 64  # answers of which only the newest columns are looked up again
INF = math.inf

Values = Sequence[float | None]
Range = tuple[float, float]  # lowest, highest


class Level:
    """Steps of one length, for so many channels."""

    __slots__ = ("highest", "lowest", "newest", "step_s")

    def __init__(self, step_s: float, channels: int) -> None:
        self.step_s = step_s
        self.newest: int | None = None  # number of the newest step
        self.lowest = [array("d", [INF]) * KEPT for _ in range(channels)]
        self.highest = [array("d", [-INF]) * KEPT for _ in range(channels)]

    def number(self, at_s: float) -> int:
        """Of the step that a time lies in."""
        return math.floor(at_s / self.step_s)

    def oldest(self) -> int:
        """The first step that is still kept."""
        return 0 if self.newest is None else self.newest - KEPT + 1

    def advance(self, number: int) -> None:
        """Make room up to this step."""
        if self.newest is None:
            self.newest = number
        for gone in range(max(self.newest + 1, number - KEPT + 1), number + 1):
            place = gone % KEPT
            for lowest, highest in zip(self.lowest, self.highest, strict=True):
                lowest[place], highest[place] = INF, -INF
        self.newest = max(self.newest, number)

    def merge(self, first: int, last: int, values: Values) -> None:
        """Put values into these steps; those that are not kept any more are left out."""
        self.advance(last)
        places = [number % KEPT for number in range(max(first, self.oldest()), last + 1)]
        for value, lowest, highest in zip(values, self.lowest, self.highest, strict=True):
            if value is not None:
                for place in places:
                    lowest[place] = min(lowest[place], value)
                    highest[place] = max(highest[place], value)

    def extremes(self, channel: int, first: int, last: int) -> Range | None:
        """Lowest and highest of these steps, None where they hold nothing."""
        first = max(first, self.oldest())
        last = min(last, self.newest if self.newest is not None else first - 1)
        if last < first:
            return None
        begin, end = first % KEPT, last % KEPT + 1
        low, high = self.lowest[channel], self.highest[channel]
        if begin < end:
            found = min(low[begin:end]), max(high[begin:end])
        else:
            found = min(*low[begin:], *low[:end]), max(*high[begin:], *high[:end])
        return None if found[0] > found[1] else found

    def each(self, channel: int, numbers: Sequence[int]) -> list[Range | None]:
        """Lowest and highest of each of these steps."""
        if self.newest is None:
            return [None] * len(numbers)
        low, high = self.lowest[channel], self.highest[channel]
        newest, oldest = self.newest, self.oldest()
        found = [(low[n % KEPT], high[n % KEPT]) if oldest <= n <= newest else (INF, -INF) for n in numbers]
        return [None if lowest > highest else (lowest, highest) for lowest, highest in found]


class Rings:
    """So many channels over one axis of time."""

    __slots__ = ("_final", "_values", "channels", "first_s", "last_s", "levels")

    def __init__(self, channels: int) -> None:
        self.channels = channels
        self.clear()

    def clear(self) -> None:
        """Forget everything."""
        self.levels = tuple(Level(step_s, self.channels) for step_s in STEPS_S)
        self.first_s: float | None = None
        self.last_s: float | None = None
        self._values: Values = ()
        self._final: dict[tuple[float, ...], list[Range | None]] = {}  # columns in which nothing changes any more

    def put(self, at_s: float, values: Values, *, held: bool) -> None:
        """Values of a time; held: those before lasted until then. Back in time: all anew."""
        if not math.isfinite(at_s):
            return
        if self.last_s is not None and at_s < self.last_s:
            self.clear()
        values = [v if v is not None and math.isfinite(v) else None for v in values]
        for level in self.levels:
            number = level.number(at_s)
            if held and self.last_s is not None and number - level.number(self.last_s) > 1:
                level.merge(level.number(self.last_s) + 1, number - 1, self._values)
            level.merge(number, number, values)
        self.first_s = at_s if self.first_s is None else self.first_s
        self.last_s, self._values = at_s, values

    def fill(self, from_s: float, to_s: float, values: Values) -> None:
        """Values that held over a stretch of the past, its end not included. What is newest stays so."""
        values = [v if v is not None and math.isfinite(v) else None for v in values]
        if to_s < from_s or not math.isfinite(from_s) or not math.isfinite(to_s):
            return
        self._final.clear()
        for level in self.levels:
            first = level.number(from_s)
            level.merge(first, max(first, math.ceil(to_s / level.step_s) - 1), values)
        self.first_s = from_s if self.first_s is None else min(self.first_s, from_s)
        if self.last_s is None or to_s > self.last_s:
            self.last_s, self._values = to_s, values

    def newest(self, channel: int) -> float | None:
        """The newest value, None where it is missing."""
        return self._values[channel] if self._values else None

    def of(self, channel: int, from_s: float, to_s: float, columns: int) -> list[Range | None]:
        """Lowest and highest of each of so many equal stretches; None = gap."""
        wide_s = (to_s - from_s) / columns if columns > 0 else 0.0
        if self.last_s is None or not wide_s > 0.0 or not math.isfinite(wide_s):
            return [None] * max(0, columns)
        level = self._level(from_s, wide_s)
        begin, step = from_s / level.step_s, wide_s / level.step_s  # both in steps of the ring
        key = channel, from_s, to_s, columns, level.step_s
        done = self._final.get(key, [])
        firsts = [math.floor(begin + i * step + 1e-9) for i in range(len(done), columns + 1)]
        if step <= 1.0:
            found = level.each(channel, firsts[:-1])
        else:  # the last step of a column ends where the next column begins, or holds that place
            lasts = [
                max(firsts[i - 1], math.ceil(begin + (len(done) + i) * step - 1e-9) - 1) for i in range(1, len(firsts))
            ]
            found = [level.extremes(channel, first, last) for first, last in zip(firsts, lasts, strict=False)]
        if len(self._final) >= REMEMBERED:
            self._final.clear()
        newest = level.number(self.last_s)
        self._final[key] = done + [v for v, after in zip(found, firsts[1:], strict=True) if after < newest]
        return done + found

    def at(self, channel: int, at_s: float) -> Range | None:
        """Lowest and highest of the step that a moment lies in, of the finest that are kept of it."""
        if not math.isfinite(at_s):
            return None
        level = next((kept for kept in self.levels if kept.oldest() <= kept.number(at_s)), self.levels[-1])
        return level.extremes(channel, level.number(at_s), level.number(at_s))

    def _level(self, from_s: float, wide_s: float) -> Level:
        """The coarsest with SHARE steps to a stretch, or coarser where only that reaches so far back."""
        least_s = self.first_s if self.first_s is not None else from_s
        at = max([i for i, step_s in enumerate(STEPS_S) if SHARE * step_s <= wide_s], default=0)
        while at < len(STEPS_S) - 1 and self.levels[at].oldest() > self.levels[at].number(max(from_s, least_s)):
            at += 1
        return self.levels[at]
