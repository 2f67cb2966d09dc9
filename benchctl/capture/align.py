"""A recording's time → the run's time: by the clocks of both, by the load step that both show, or as a person says."""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.capture.curves import Curve
from benchctl.core.ruleset import Quantity

STEP_SHARE = 0.1  # of the largest value: smaller changes are no load step; CPNS
STEP_S = 0.06  # contactors of one block close within 20 to 60 ms of each other (CPNS)
SAME_S = 2.0  # steps of recording and run that are no further apart belong together
ALIKE = 0.05  # of the share of load before and after: steps that differ by less are alike
CLOCKS_S = 2.0  # what two clocks that nobody has compared are taken to differ by; CPNS
SAID_S = 1.0  # the same of a time that a person states


class AlignFault(ValueError):  # noqa: N818 - the house calls what is wrong a fault
    """The recording cannot be laid over the run. str() is a sentence."""


@dataclass(frozen=True, slots=True)
class Moved:
    """A sudden change in a curve: half of it done at at_s, which lies between low_s and high_s."""

    at_s: float
    low_s: float
    high_s: float
    before: float
    after: float

    @property
    def up(self) -> bool:
        """Whether it rose."""
        return self.after > self.before

    @property
    def share(self) -> float:
        """The smaller of before and after as a share of the larger: the same in amps and in kW."""
        low, high = sorted((abs(self.before), abs(self.after)))
        return low / high if high else 1.0


@dataclass(frozen=True, slots=True)
class Aligned:
    """The recording's first sample is at offset_s of the run, give or take doubt_s. told: how that was found."""

    by: str
    offset_s: float
    doubt_s: float
    told: str


def moves(t_s: Sequence[float], values: Sequence[float], lag: int, least: float) -> tuple[Moved, ...]:
    """Changes by `least` or more within `lag` values, those that touch taken as one. NaN never counts as a change."""
    found: list[Moved] = []
    k, last = 0, len(t_s) - lag
    while k < last:
        if not abs(values[k + lag] - values[k]) >= least:
            k += 1
            continue
        up = values[k + lag] > values[k]
        end = k
        while end + 1 < last and abs(values[end + 1 + lag] - values[end + 1]) >= least:
            if (values[end + 1 + lag] > values[end + 1]) is not up:
                break
            end += 1
        found.append(_moved(t_s, values, k, end + lag))
        k = end + lag
    return tuple(found)


def _moved(t_s: Sequence[float], values: Sequence[float], first: int, last: int) -> Moved:
    before, after = values[first], values[last]
    half, up = (before + after) / 2.0, after > before
    k = next(k for k in range(first + 1, last + 1) if (values[k] >= half) is up or values[k] == half)
    rise = values[k] - values[k - 1]
    share = (half - values[k - 1]) / rise if rise and not math.isnan(rise) else 1.0
    at_s = t_s[k - 1] + min(max(share, 0.0), 1.0) * (t_s[k] - t_s[k - 1])
    return Moved(at_s, t_s[k - 1], t_s[k], before, after)


def moves_of(curves: Sequence[Curve]) -> tuple[Moved, ...]:
    """The load steps that a recording shows: in its kW, else in its amps."""
    for quantity in (Quantity.POWER, Quantity.AMPS):
        found = [c for c in curves if c.quantity is quantity and len(c.t_s) > 2]
        if found:
            curve = max(found, key=_largest)
            lag = max(1, math.ceil((STEP_S + curve.window_s) / max(curve.refresh_s, 1e-6)))
            return moves(curve.t_s, curve.values, lag, max(STEP_SHARE * _largest(curve), 1e-9))
    return ()


def _largest(curve: Curve) -> float:
    return max((abs(v) for v in curve.values if not math.isnan(v)), default=0.0)


def by_clock(started_s: float, length_s: float, run_s: float, zone: str) -> Aligned:
    """By the clocks. started_s: the first sample in the run's time. Raises AlignFault when they never met."""
    if started_s > run_s or started_s + length_s < 0.0:
        when = (
            f"{started_s - run_s:.0f} s after the run's end"
            if started_s > run_s
            else f"{-started_s:.0f} s before it began"
        )
        raise AlignFault(
            f"by its clock the recording began {when}, so they have no time in common; "
            "is its zone right? Else align it by the load step, or state --offset"
        )
    return Aligned("time", started_s, CLOCKS_S, f"by the clocks of both, {zone}; nobody has compared the clocks")


def by_word(offset_s: float) -> Aligned:
    """As a person states."""
    return Aligned("offset", offset_s, SAID_S, "as stated by --offset")


def by_step(shown: Sequence[Moved], recorded: Sequence[Moved], guess_s: float | None) -> Aligned:
    """By the load steps that both show: most of them together, then nearest to the guess, then most alike.

    Raises AlignFault when none fits, or several.
    """
    if not shown:
        raise AlignFault("the recording shows no load step in amps or kW: align it by time, or state --offset")
    largest = max(shown, key=lambda m: abs(m.after - m.before))
    fits = [(_together(shown, recorded, r.at_s - largest.at_s), r) for r in recorded if r.up is largest.up]
    if not fits:
        way = "rise" if largest.up else "fall"
        raise AlignFault(f"the recording shows a {way} of load at {largest.at_s:.3f} s, and the run has none")
    most = max(count for count, _ in fits)
    best = [r for count, r in fits if count == most]
    if guess_s is not None:
        best = [min(best, key=lambda r: abs(r.at_s - largest.at_s - guess_s))]
    best = _alike(largest, best)
    if len(best) > 1:
        offsets = ", ".join(f"{r.at_s - largest.at_s:.1f}" for r in best[:8])
        raise AlignFault(
            f"the load step of the recording fits {len(best)} steps of the run: state --offset near one of {offsets}"
        )
    step = best[0]
    told = (
        f"its load step at {largest.at_s:.4f} s is the run's at {step.at_s:.2f} s, which lies between two scans "
        f"({step.low_s:.2f} and {step.high_s:.2f} s); {most} of {len(shown)} steps fit"
    )
    doubt_s = max(step.high_s - step.at_s, step.at_s - step.low_s)
    return Aligned("step", step.at_s - largest.at_s, doubt_s, told)


def _alike(shown: Moved, recorded: list[Moved]) -> list[Moved]:
    """Those whose share of load before and after is clearly that of the recording, amps or kW alike."""
    far = sorted((abs(r.share - shown.share), k) for k, r in enumerate(recorded))
    return [recorded[k] for distance, k in far if distance <= far[0][0] + ALIKE]


def _together(shown: Sequence[Moved], recorded: Sequence[Moved], offset_s: float) -> int:
    """How many steps of the recording have one of the run at their place."""
    times = [r.at_s for r in recorded]
    count = 0
    for move in shown:
        k = bisect_right(times, move.at_s + offset_s)
        near = [r for r in recorded[max(0, k - 1) : k + 1] if abs(r.at_s - move.at_s - offset_s) <= SAME_S]
        count += any(r.up is move.up for r in near)
    return count
