"""The judgement of a check load: what a known small load changed at the meter, against what it should have changed.

Theory. The load of one unit is known from its profile and the volts. Read before, on and after, the difference must
show it: on every phase positive, in total right, at a power factor near 1. The patterns of wrong wiring are few and
are named: a reversed current transformer shows its phase with the opposite sign; two exchanged ones pair each
current with a voltage 120 degrees away, so both phases show minus half (cos 120 = -1/2); a wrong ratio scales all
phases alike. Fans run before, on and after, so their power drops out of the difference.
"""

from dataclasses import dataclass

from benchctl.core.reading import Electrical, Maybe, Three
from benchctl.core.site import Limits
from benchctl.core.state import Result

NEGATIVE = -0.2  # of the expected phase kW: clearly returned power
NEAR = 0.15  # share by which a pattern may miss


@dataclass(frozen=True, slots=True)
class Sample:
    """Mean of one step. kW per phase and in total, kvar; None where the meter does not tell."""

    phase_kw: Three
    power_kw: Maybe
    reactive_kvar: Maybe


@dataclass(frozen=True, slots=True)
class Judged:
    """What came out, in a sentence for the record."""

    result: Result
    text: str
    measured_kw: Maybe = None
    drifts: bool = False  # the other load moved meanwhile: worth another try


def sample_of(e: Electrical) -> Sample:
    """The figures of a measurement that a check load needs."""
    total = e.power_kw
    if total is None and None not in e.phase_kw:
        total = sum(p for p in e.phase_kw if p is not None)
    return Sample(e.phase_kw, total, e.reactive_kvar)


def _difference(on: Maybe, before: Maybe, after: Maybe) -> Maybe:
    return None if on is None or before is None or after is None else on - (before + after) / 2.0


def judge(
    expected: tuple[float, float, float], before: Sample, on: Sample, after: Sample, limits: Limits, ct_kw: Maybe
) -> Judged:
    """Judge one check load. expected: kW per phase at the volts present; ct_kw: rating of the meter's transformers."""
    expected_kw = sum(expected)
    floor_kw = 0.02 * ct_kw if ct_kw else 0.0
    tolerance_kw = max(expected_kw * limits.check_tolerance_percent / 100.0, floor_kw)
    if floor_kw > 0.25 * expected_kw:
        return Judged(Result.NOT_DEMONSTRATED, f"{expected_kw:.0f} kW are too few for transformers of {ct_kw:.0f} kW")
    total = _difference(on.power_kw, before.power_kw, after.power_kw)
    if total is None:
        return Judged(Result.NOT_DEMONSTRATED, "the meter did not tell the power")
    assert before.power_kw is not None
    assert after.power_kw is not None
    if abs(after.power_kw - before.power_kw) > tolerance_kw:
        return Judged(Result.NOT_DEMONSTRATED, "other load moved meanwhile", total, drifts=True)
    phases = [_difference(on.phase_kw[p], before.phase_kw[p], after.phase_kw[p]) for p in range(3)]
    shares = [d / e for d, e in zip(phases, expected, strict=True) if d is not None and e > 0.0]
    if shares and (named := _wiring(shares, [p for p in range(3) if expected[p] > 0.0 and phases[p] is not None])):
        return Judged(Result.FAIL, named, total)
    if abs(total - expected_kw) > tolerance_kw:
        return Judged(Result.FAIL, _wrong_amount(total, expected_kw, shares), total)
    if shares and max(shares) - min(shares) > 2.0 * max(limits.check_phase_percent / 100.0, floor_kw / expected_kw):
        return Judged(Result.FAIL, "phases differ: " + ", ".join(f"{100 * s:.0f} %" for s in shares), total)
    kvar = _difference(on.reactive_kvar, before.reactive_kvar, after.reactive_kvar)
    if kvar is not None and total > 0.0:
        factor = total / (total * total + kvar * kvar) ** 0.5
        if factor < limits.check_power_factor:
            return Judged(Result.FAIL, f"power factor {factor:.2f} of a resistive load: check wiring", total)
    return Judged(Result.PASS, f"{total:.1f} kW of {expected_kw:.1f} kW expected", total)


def _wiring(shares: list[float], phases: list[int]) -> str:
    """Name the wiring fault that a pattern of phase shares shows; empty when it shows none."""
    negative = [p for p, s in zip(phases, shares, strict=True) if s < NEGATIVE]
    if not negative:
        return ""
    by_phase = dict(zip(phases, shares, strict=True))
    letters = " and ".join("ABC"[p] for p in negative)
    if len(negative) == 2 and all(abs(by_phase[p] + 0.5) < NEAR for p in negative):
        return f"current transformers of phases {letters} exchanged?"
    if len(negative) == len(phases) > 1 and all(abs(s + 0.5) < NEAR for s in shares):
        return "current transformers of all phases exchanged in turn?"
    plural = "s" if len(negative) > 1 else ""
    return f"phase{plural} {letters} current transformer{plural} reversed? A resistive load cannot return power"


def _wrong_amount(total_kw: float, expected_kw: float, shares: list[float]) -> str:
    ratio = total_kw / expected_kw if expected_kw else 0.0
    said = f"{total_kw:.1f} kW instead of {expected_kw:.1f} kW"
    if len(shares) > 1 and max(shares) - min(shares) < NEAR * max(abs(s) for s in shares) and ratio > 0.05:
        return f"{said}, all phases alike: transformer ratio {ratio:.2f} times off, or a wrong profile?"
    gone = [i for i, s in enumerate(shares) if abs(s) < 0.1]
    if gone and len(gone) < len(shares):
        return f"{said}: phase {' and '.join('ABC'[i] for i in gone)} shows nothing"
    return said


def line_to_neutral_fault(e: Electrical) -> str:
    """Name line-to-neutral volts that do not fit the line-to-line ones (factor sqrt 3); empty when all is well."""
    lines = [v for v in e.volts_ll if v is not None]
    neutrals = [v for v in e.volts_ln if v is not None]
    if len(lines) < 3 or len(neutrals) < 3 or sum(neutrals) <= 0.0:
        return ""
    ratio = sum(lines) / sum(neutrals)
    if abs(ratio / 3.0**0.5 - 1.0) <= 0.03:
        return ""
    return f"line-to-line over line-to-neutral volts is {ratio:.2f}, not 1.73: neutral or voltage taps?"
