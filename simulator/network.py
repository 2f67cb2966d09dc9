"""Phasors of the source and conductances of the load: what flows where when volts are uneven or an element is
gone.

A load is six conductances in kW/V²: from A, B, C to neutral and between AB, BC, CA. Power follows the square
of the volts across each element (P = G U²); an element between two lines counts half to each. Where there is
no neutral a star is turned into its delta (star-mesh transform, any circuit theory text): G_ab = G_a G_b /
(G_a + G_b + G_c).
"""

import cmath
import math

from benchctl.core.profile import Profile, Stage
from benchctl.core.site import Wiring

Six = tuple[float, float, float, float, float, float]
Phasors = tuple[complex, complex, complex]
EMPTY: Six = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
_PAIRS = {"ab": 0, "bc": 1, "ca": 2}
_TURN = cmath.exp(-2j * math.pi / 3)


def phasors(wiring: Wiring, volts: float, lost: frozenset[int] = frozenset()) -> Phasors:
    """Line-to-neutral phasors in volts. volts as on the nameplate; lost: indices of phases without volts.

    With a neutral the load pulls a lost phase to it (0 V); without one it drifts to the middle of the two
    others.
    """
    if wiring is Wiring.SINGLE_PHASE_2W:
        three = [complex(volts), 0j, 0j]
    elif wiring is Wiring.SINGLE_PHASE_3W:
        three = [complex(volts / 2), complex(-volts / 2), 0j]
    else:
        line = volts / math.sqrt(3.0)
        three = [complex(line), line * _TURN, line * _TURN * _TURN]
    for k in lost:
        others = [three[i] for i in wiring.phases if i != k]
        three[k] = sum(others) / 2 if wiring is Wiring.THREE_PHASE_3W and len(lost) == 1 else 0j
    return three[0], three[1], three[2]


def stage_conductances(stage: Stage, profile: Profile, neutral: bool, blown: frozenset[int] = frozenset()) -> Six:
    """Conductances of one stage of a profile in kW/V²; blown: phases (0 to 2) whose fuse is gone."""
    if stage.across in _PAIRS:
        return _pair(stage, profile, blown)
    rated_ln = profile.rated_v / math.sqrt(3.0) if profile.phases == 3 else profile.rated_v
    if stage.across != "abc" or profile.phases != 3 or (profile.connection != "delta" and neutral):
        a, b, c = (0.0 if k in blown else stage.phase_kw[k] / rated_ln**2 for k in range(3))
        return a, b, c, 0.0, 0.0, 0.0
    if profile.connection == "delta":
        return _delta(stage, profile.rated_v, blown)
    a, b, c = (0.0 if k in blown else stage.phase_kw[k] / rated_ln**2 for k in range(3))
    whole = a + b + c
    return (0.0, 0.0, 0.0, a * b / whole, b * c / whole, c * a / whole) if whole else EMPTY


def _pair(stage: Stage, profile: Profile, blown: frozenset[int]) -> Six:
    k = _PAIRS[stage.across]
    if {k, (k + 1) % 3} & blown:
        return EMPTY
    across_v = profile.rated_v if profile.phases == 3 else 2.0 * profile.rated_v
    g = [0.0] * 6
    g[3 + k] = stage.power_kw / across_v**2
    return g[0], g[1], g[2], g[3], g[4], g[5]


def _delta(stage: Stage, rated_v: float, blown: frozenset[int]) -> Six:
    """Three elements between the lines, found from what each phase draws.

    An open line leaves two of them in series.
    """
    a, b, c = stage.phase_kw
    pair = [(a + b - c) / rated_v**2, (b + c - a) / rated_v**2, (c + a - b) / rated_v**2]
    if len(blown) > 1:
        return EMPTY
    for k in blown:
        left, opposite, right = k, (k + 1) % 3, (k + 2) % 3
        if pair[left] + pair[right] > 0:
            pair[opposite] += pair[left] * pair[right] / (pair[left] + pair[right])
        pair[left] = pair[right] = 0.0
    return 0.0, 0.0, 0.0, pair[0], pair[1], pair[2]


def add(first: Six, second: Six) -> Six:
    """Conductances in parallel."""
    return (
        first[0] + second[0],
        first[1] + second[1],
        first[2] + second[2],
        first[3] + second[3],
        first[4] + second[4],
        first[5] + second[5],
    )


def scaled(g: Six, factor: float) -> Six:
    """The same elements, factor times as many."""
    return g[0] * factor, g[1] * factor, g[2] * factor, g[3] * factor, g[4] * factor, g[5] * factor


def power_kw(g: Six, u: Phasors) -> float:
    """kW of all elements at these volts."""
    a, b, c = u
    return g[0] * _sq(a) + g[1] * _sq(b) + g[2] * _sq(c) + g[3] * _sq(a - b) + g[4] * _sq(b - c) + g[5] * _sq(c - a)


def currents_ka(g: Six, u: Phasors) -> Phasors:
    """Line currents in kA (kW/V² times V)."""
    a, b, c = u
    ab, bc, ca = g[3] * (a - b), g[4] * (b - c), g[5] * (c - a)
    return g[0] * a + ab - ca, g[1] * b + bc - ab, g[2] * c + ca - bc


def inductive_kva(kw: float, power_factor: float) -> complex:
    """Complex power of an inductive load."""
    return complex(kw, kw * (1.0 / power_factor**2 - 1.0) ** 0.5)


def plus_evenly(amps_ka: Phasors, volts: Phasors, share_kva: complex, live: list[int]) -> Phasors:
    """Line currents with that much complex power more in each live phase: I = conj(S / U)."""
    a, b, c = (
        i + (share_kva / u).conjugate() if k in live and abs(u) > 1e-3 else i
        for k, (i, u) in enumerate(zip(amps_ka, volts, strict=True))
    )
    return a, b, c


def _sq(z: complex) -> float:
    return z.real * z.real + z.imag * z.imag
