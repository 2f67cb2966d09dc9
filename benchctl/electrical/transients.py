"""What a quantity does after a sudden change of load: how far it goes, when it leaves a band, when it is back for good.

A trace is a line through its points. Exact traces are judged on the line; of sampled ones only the points are known, so
every instant carries the two points it lies between. Definitions: transient deviation 100 (extreme - initial) / rated
and recovery "until it enters the tolerance band for good" by ISO 8528-5 (from memory), recovery from leaving the
prescribed band to re-entering and remaining in it by MIL-STD-705 (read as carried into army manuals).
"""

import itertools
import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.electrical.checks import finite, positive

EDGE = 1e-12  # of the band's half width: a value on its edge is inside


@dataclass(frozen=True, slots=True)
class Instant:
    """A time or a duration in seconds: on the line, and between which samples it lies at all events."""

    at_s: float
    low_s: float
    high_s: float

    def since(self, start: "Instant") -> "Instant":
        """How long after `start`; never negative."""
        gone = self.at_s - start.at_s, self.low_s - start.high_s, self.high_s - start.low_s
        return Instant(*(max(0.0, s) for s in gone))


@dataclass(frozen=True, slots=True)
class Response:
    """One transient. Percents are of rated and signed; extreme: farthest the way that the load pushes.

    left: first leaving of the band about the initial value, None = it never did. back: last entry into the tolerance
    band, None = it was never outside, or is not back for good (`recovered` tells which). overshoot: how far beyond the
    final value it goes the other way after the extreme. from_switching, from_leaving: recovery times; None = not
    recovered in the window. outside_until_s: the last point outside the tolerance band, None = none is.
    """

    initial: float
    final: float
    centre: float
    extreme: float
    extreme_s: float
    deviation_percent: float
    difference_percent: float
    overshoot_percent: float
    left: Instant | None
    back: Instant | None
    outside_until_s: float | None
    recovered: bool
    from_switching: Instant | None
    from_leaving: Instant | None


def respond(
    times_s: Sequence[float],
    values: Sequence[float],
    *,
    switched: Instant,
    rated: float,
    falls: bool,
    leave_half: float,
    band_half: float,
    centre: float | None = None,
    before_s: float = 10.0,
    settled_s: float | None = None,
) -> Response:
    """The response to a change of load at `switched`.

    times_s, values: the trace, finite, time never back, with at least one point at or before the change and two after
    it. falls: load was put on, the quantity goes down. leave_half, band_half: half widths in the quantity's own unit,
    of the band about the initial value and of the tolerance band about `centre`; None = about the final value.
    initial: mean of the line over `before_s` until the change. final: mean over the last settled_s (default: a fifth of
    the time after the change); for good = inside during all of that time. Raises ValueError.
    """
    positive(rated=rated, leave_half=leave_half, band_half=band_half, before_s=before_s)
    _line(times_s, values)
    t0 = switched.low_s
    first = bisect_right(times_s, t0)
    if first < 1 or len(times_s) - first < 2:
        raise ValueError(
            f"the trace has {first} points until {t0:g} s and {len(times_s) - first} after it; 1 and 2 wanted"
        )
    end_s = times_s[-1]
    settled_s = (end_s - t0) / 5.0 if settled_s is None else settled_s
    positive(settled_s=settled_s)
    initial = line_mean(times_s[:first], values[:first], times_s[first - 1] - before_s, times_s[first - 1])
    final = line_mean(times_s, values, max(t0, end_s - settled_s), end_s)
    middle = final if centre is None else centre
    # What went before the change is as the last point before it: nothing had happened yet.
    after_s, after = [t0, *times_s[first:]], [values[first - 1], *values[first:]]
    left = first_leaving(after_s, after, initial, leave_half)
    outside = [i for i, v in enumerate(after) if _out(v, middle, band_half)]
    recovered = not outside or after_s[outside[-1]] < end_s - settled_s
    back = _entry(after_s, after, outside[-1], middle, band_half) if outside and recovered else None
    pick = min if falls else max
    extreme_s, extreme = pick(zip(after_s, after, strict=True), key=lambda point: point[1])
    later = [v for t, v in zip(after_s, after, strict=True) if t >= extreme_s]
    beyond = max(later) - final if falls else min(later) - final
    overshoot = max(0.0, beyond) if falls else min(0.0, beyond)
    return Response(
        initial=initial,
        final=final,
        centre=middle,
        extreme=extreme,
        extreme_s=extreme_s,
        deviation_percent=100.0 * (extreme - initial) / rated,
        difference_percent=100.0 * (extreme - rated) / rated,
        overshoot_percent=100.0 * overshoot / rated,
        left=left,
        back=back,
        outside_until_s=after_s[outside[-1]] if outside else None,
        recovered=recovered,
        from_switching=_recovery(switched, back, recovered),
        from_leaving=_recovery(left or back or switched, back, recovered),
    )


def first_leaving(times_s: Sequence[float], values: Sequence[float], centre: float, half: float) -> Instant | None:
    """When the line first leaves centre ± half; at the first point if that is outside already; None = never."""
    for i, value in enumerate(values):
        if _out(value, centre, half):
            if i == 0:
                return Instant(times_s[0], times_s[0], times_s[0])
            edge = centre + math.copysign(half, value - centre)
            at_s = _crossing(times_s[i - 1], values[i - 1], times_s[i], value, edge)
            return Instant(at_s, times_s[i - 1], times_s[i])
    return None


def line_mean(times_s: Sequence[float], values: Sequence[float], from_s: float, to_s: float) -> float:
    """Mean over time of the line between two times (cut to the trace); the value itself where no time is left."""
    from_s, to_s = max(from_s, times_s[0]), min(to_s, times_s[-1])
    if to_s <= from_s:
        return line_value(times_s, values, to_s)
    i, j = bisect_right(times_s, from_s), bisect_left(times_s, to_s)
    t = [from_s, *times_s[i:j], to_s]
    v = [line_value(times_s, values, from_s), *values[i:j], line_value(times_s, values, to_s)]
    return math.fsum((a + b) / 2.0 * (s - r) for r, s, a, b in zip(t, t[1:], v, v[1:], strict=False)) / (to_s - from_s)


def line_value(times_s: Sequence[float], values: Sequence[float], at_s: float) -> float:
    """The line at a time; the nearest end outside the trace."""
    i = bisect_right(times_s, at_s)
    if i == 0:
        return values[0]
    if i == len(times_s) or times_s[i - 1] == at_s:
        return values[i - 1]
    share = (at_s - times_s[i - 1]) / (times_s[i] - times_s[i - 1])
    return values[i - 1] + share * (values[i] - values[i - 1])


def _out(value: float, centre: float, half: float) -> bool:
    return abs(value - centre) > half * (1.0 + EDGE) + EDGE * abs(centre)


def _crossing(t0: float, v0: float, t1: float, v1: float, edge: float) -> float:
    return t1 if v1 == v0 else min(max(t0 + (edge - v0) / (v1 - v0) * (t1 - t0), t0), t1)


def _entry(times_s: Sequence[float], values: Sequence[float], last: int, centre: float, half: float) -> Instant:
    """The way in after the last point outside."""
    t0, t1, edge = times_s[last], times_s[last + 1], centre + math.copysign(half, values[last] - centre)
    return Instant(_crossing(t0, values[last], t1, values[last + 1], edge), t0, t1)


def _recovery(start: Instant, back: Instant | None, recovered: bool) -> Instant | None:
    if not recovered:
        return None
    return back.since(start) if back else Instant(0.0, 0.0, 0.0)


def _line(times_s: Sequence[float], values: Sequence[float]) -> None:
    if len(times_s) != len(values) or not times_s:
        raise ValueError(f"{len(times_s)} times and {len(values)} values; as many of both are expected, and some")
    for t, v in zip(times_s, values, strict=True):
        finite(time_s=t, value=v)
    for r, s in itertools.pairwise(times_s):
        if s < r:
            raise ValueError(f"time goes back from {r} s to {s} s")
