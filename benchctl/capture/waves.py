"""Waveforms → one-cycle rms refreshed each half cycle, and the frequency of each cycle. Pure, evenly spaced samples.

In the manner of IEC 61000-4-30 (from memory): U_rms(1/2) is the rms over one cycle that begins at a zero crossing of
the fundamental, refreshed each half cycle; crossings are of the fundamental alone, interpolated between samples. All
channels share the crossings of one, so that their values lie at the same instants. Each value stands at the middle of
its cycle: no delay, but whatever happens is spread over half a cycle to both sides.
"""

import math
from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

FEWEST = 8  # samples a cycle: fewer give neither crossings nor an rms
COLLAPSED = 0.05  # of the largest fundamental: below, crossings are noise (interruption in IEC 61000-4-30: 5 %)


@dataclass(frozen=True, slots=True)
class Crossings:
    """Zero crossings of the fundamental, as samples from the first (not whole). seen: found, not carried on.

    Where the fundamental has gone, crossings are carried on at the last half period: rms goes on, frequency does not.
    """

    at: "array[float]"
    seen: bytes


def crossings(values: Sequence[float], cycle: float) -> Crossings:
    """Crossings of a waveform with about `cycle` samples a cycle. Raises ValueError for fewer than 8 a cycle."""
    if not cycle >= FEWEST:
        raise ValueError(f"{cycle:.1f} samples a cycle; at least {FEWEST} are needed to see a waveform")
    smooth, first = _fundamental(values, cycle)
    if len(smooth) < 2:
        return Crossings(array("d"), b"")
    least = COLLAPSED * max(map(abs, smooth))
    turns = [k for k, (a, b) in enumerate(pairwise(smooth)) if (a < 0.0) is not (b < 0.0)]
    found = [(first + k + smooth[k] / (smooth[k] - smooth[k + 1]), k) for k in turns]
    return _carried_on(found, smooth, least, cycle, first + len(smooth) - 1.0)


def _fundamental(values: Sequence[float], cycle: float) -> tuple[list[float], int]:
    """The waveform without what is constant and with its harmonics damped, and the index of its first sample.

    Means over a third and a fifth of a cycle take the third and fifth harmonic away, the mean over a cycle what is
    constant; all are symmetrical about their sample, so that no crossing is delayed.
    """
    third, fifth, whole = (max(0, round((cycle / n - 1.0) / 2.0)) for n in (3.0, 5.0, 1.0))
    smooth = _mean(_mean(values, third), fifth)
    level = _mean(smooth, whole)
    inner = smooth[whole : len(smooth) - whole] if whole else smooth
    return [a - b for a, b in zip(inner, level, strict=True)], third + fifth + whole


def _mean(values: Sequence[float], half: int) -> list[float]:
    """Running mean over 2 half + 1 samples, shorter by `half` at both ends."""
    width = 2 * half + 1
    if len(values) < width:
        return []
    sums = list(accumulate(values, initial=0.0))
    return [(b - a) / width for a, b in zip(sums, sums[width:], strict=False)]


def _carried_on(
    found: list[tuple[float, int]], smooth: list[float], least: float, cycle: float, end: float
) -> Crossings:
    """The crossings that are real, and between them, where they are missing, at the last half period."""
    at, seen, period, last_turn = array("d"), bytearray(), cycle / 2.0, 0
    for where, turn in found:
        strong = max((abs(v) for v in smooth[last_turn : turn + 1]), default=0.0) >= least
        last_turn = turn
        if not strong or (at and where - at[-1] < 0.3 * cycle):
            continue
        if at:
            while where - at[-1] > 0.75 * cycle:
                at.append(at[-1] + period)
                seen.append(0)
            if seen[-1] and 0.4 * cycle < where - at[-1] < 0.6 * cycle:
                period = where - at[-1]
        if not at or where - at[-1] >= 0.3 * cycle:
            at.append(where)
            seen.append(1)
    while at and end - at[-1] > 0.75 * cycle:
        at.append(at[-1] + period)
        seen.append(0)
    return Crossings(at, bytes(seen))


def middles(found: Crossings, spacing_s: float) -> "array[float]":
    """Times of the values in seconds from the first sample: the middle of each cycle, one each half cycle."""
    return array("d", [(a + b) / 2.0 * spacing_s for a, b in zip(found.at, found.at[2:], strict=False)])


def frequency_hz(found: Crossings, spacing_s: float) -> "array[float]":
    """Of each cycle, at `middles`; NaN where a crossing was not seen."""
    at, seen = found.at, found.seen
    return array(
        "d",
        [
            1.0 / ((at[k + 2] - at[k]) * spacing_s) if seen[k] and seen[k + 1] and seen[k + 2] else math.nan
            for k in range(len(at) - 2)
        ],
    )


def rms(values: Sequence[float], found: Crossings) -> "array[float]":
    """One-cycle rms at `middles`, in the waveform's own unit; NaN where a sample of the cycle is missing."""
    return array(
        "d", [m if math.isnan(m) else math.sqrt(max(0.0, m)) for m in cycle_means([v * v for v in values], found)]
    )


def cycle_means(values: Sequence[float], found: Crossings) -> list[float]:
    """Mean over each cycle at `middles` of a product of waveforms; NaN where a sample of the cycle is missing.

    Trapezoids over the samples, the ends of the cycle cut on the line between two.
    """
    gone = any(map(math.isnan, values))
    whole: Sequence[float] = [0.0 if math.isnan(v) else v for v in values] if gone else values
    sums = list(accumulate(((a + b) / 2.0 for a, b in pairwise(whole)), initial=0.0))
    missing = list(accumulate(map(int, map(math.isnan, values)), initial=0)) if gone else []
    last = len(whole) - 1

    def area(x: float) -> float:
        k = min(int(x), last - 1)
        part = x - k
        return sums[k] + part * (whole[k] + part / 2.0 * (whole[k + 1] - whole[k]))

    areas = [area(x) for x in found.at]
    means = [(b - a) / (y - x) for a, b, x, y in zip(areas, areas[2:], found.at, found.at[2:], strict=False)]
    if gone:
        for k, (x, y) in enumerate(zip(found.at, found.at[2:], strict=False)):
            if missing[min(int(y) + 2, last + 1)] - missing[int(x)]:
                means[k] = math.nan
    return means
