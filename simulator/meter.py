"""A meter: samples volts, amps and power at its own interval, with a little noise, and with whatever is wrong
with its wiring.

Per phase `P + jQ = U conj(I)`; totals are the sums over the phases. A turned transformer changes the sign of
its phase's power, exchanged ones multiply the wrong volts and amps: with balanced load each such phase shows
-1/2 of its kW (cos 120°).

Samples lie on a grid of the meter's own and are taken when somebody looks or when what flows is about to
change. Noise belongs to the number of the sample and energy is counted by samples, so it does not matter who
looks when.
"""

from collections.abc import Callable
from dataclasses import dataclass
from operator import mul
from random import Random

from benchctl.core.reading import NONE3, Electrical, Three
from benchctl.core.site import Wiring
from simulator.network import Phasors

VOLTS_NOISE, AMPS_NOISE, HERTZ_NOISE = 2e-4, 5e-4, 2e-5  # share of value, one standard deviation; common practice
_SIZES = (*[VOLTS_NOISE] * 6, *[AMPS_NOISE] * 9, HERTZ_NOISE)
_ROWS = 211  # samples before the noise repeats
_NOTHING = (0.0,) * 16

# What a meter shows, in the order of `Meter.figures`, of which the last is the number of the sample; absent phases are
# None, and the counter that the registers show begins anew at 65,536.
FIGURES = (
    *("volts_ab", "volts_bc", "volts_ca", "volts_a", "volts_b", "volts_c", "amps_a", "amps_b", "amps_c"),
    *("power_a_kw", "power_b_kw", "power_c_kw", "power_kw", "reactive_kvar", "apparent_kva", "power_factor"),
    *("hertz", "energy_kwh", "refresh_count"),
)
_F = float | None
Figures = tuple[_F, _F, _F, _F, _F, _F, _F, _F, _F, _F, _F, _F, _F, _F, _F, _F, _F, _F, int, int]
_NEVER: Figures = (*(None,) * 18, 0, 0)


@dataclass(frozen=True, slots=True)
class Flow:
    """What truly flows at one place: line-to-neutral phasors in V, currents in kA, hertz."""

    volts: Phasors
    amps_ka: Phasors
    hertz: float


@dataclass(slots=True)
class MeterTroubles:
    """What is wrong with a meter at the moment. Phases count from 0."""

    frozen: bool = False
    lost: bool = False
    reversed: int | None = None
    exchanged: tuple[int, int] | None = None
    ratio: float = 1.0
    no_volts: bool = False


class Meter:
    """One measuring block. Its figures are primary ones, whatever its registers divide them by.

    `look` gives what flows now (the same object while nothing changed), `clock` the time in seconds.
    """

    def __init__(
        self, refresh_s: float, wiring: Wiring, seed: str, look: Callable[[], Flow], clock: Callable[[], float]
    ) -> None:
        rng = Random(seed)  # noqa: S311 - noise, not secrets
        self.refresh_s = max(refresh_s, 0.02)
        self.trouble = MeterTroubles()
        self.due_s = self._first_s = rng.random() * self.refresh_s
        self._passed = 0  # instants of the grid that are gone
        self._count = 0  # samples taken
        self._noise = [
            tuple(1.0 + size * max(-3.0, min(3.0, rng.gauss(0.0, 1.0))) for size in _SIZES) for _ in range(_ROWS)
        ]
        self._live, self._neutral = wiring.phases, wiring.has_neutral
        self._lines = self._live if len(self._live) == 3 else self._live[:-1]
        self._look, self._clock = look, clock
        self._flow: Flow | None = None
        self._clean: tuple[float, ...] = _NOTHING  # figures of that flow without noise
        self._counts_kw = 0.0  # power that the energy counter takes for it; a reversed total counts nothing
        self._since, self._kwh_since = 0, 0.0  # number of the first sample of that flow, and the energy then
        self._disturbed = False
        self._shown = _NEVER

    def begin(self) -> None:
        """The first sample, whatever the time; it stands for that of the grid's first instant."""
        self._passed = 1
        self.due_s = self._first_s + self.refresh_s
        self._take(1)

    def disturb(self) -> None:
        """The troubles have changed; the next sample shows it."""
        self._disturbed = True

    def sample(self) -> None:
        """Take the samples that are due; what flows now has flown since the last call."""
        late_s = self._clock() - self.due_s
        if late_s < -1e-9:
            return
        new = int(late_s / self.refresh_s + 1e-9) + 1
        self._passed += new
        self.due_s = self._first_s + self._passed * self.refresh_s
        if not self.trouble.frozen:
            self._take(new)

    def _take(self, new: int) -> None:
        flow = self._look()
        if flow is not self._flow or self._disturbed:
            self._kwh_since = self._kwh(self._count + 1)
            self._since = self._count + 1
            self._flow, self._disturbed = flow, False
            self._clean = clean = _figures(flow, self.trouble)
            self._counts_kw = max(0.0, clean[9] + clean[10] + clean[11])
        self._count += new

    def _kwh(self, count: int) -> float:
        """Energy counted at that sample: each lasts until the next one."""
        return self._kwh_since + self._counts_kw * (count - self._since) * self.refresh_s / 3600.0

    def count(self) -> int:
        """How many samples were taken, those that are due included."""
        if self._clock() >= self.due_s - 1e-9:
            self.sample()
        return self._count

    def figures(self) -> Figures:
        """The values of the last sample in the order of FIGURES: the same object for the same sample."""
        if self._clock() >= self.due_s - 1e-9:
            self.sample()
        if self._shown[19] != self._count:
            self._shown = self._noisy(self._count)
        return self._shown

    def electrical(self) -> Electrical:
        """The same as a noun."""
        return electrical(self.figures())

    def _noisy(self, count: int) -> Figures:
        a, b, c, ab, bc, ca, ia, ib, ic, pa, pb, pc, qa, qb, qc, hertz = map(
            mul, self._clean, self._noise[count % _ROWS]
        )
        power, reactive = pa + pb + pc, qa + qb + qc
        apparent = (power * power + reactive * reactive) ** 0.5
        factor = power / apparent if apparent > 1e-6 else 1.0
        live = self._live
        ll: Three = ab, bc, ca
        ln: Three = a, b, c
        amps: Three = ia, ib, ic
        kw: Three = pa, pb, pc
        if len(live) < 3:
            ll, ln, amps, kw = _some(ll, self._lines), _some(ln, live), _some(amps, live), _some(kw, live)
        if not self._neutral:
            ln = NONE3
        kva = abs(complex(power, reactive))
        return *ll, *ln, *amps, *kw, power, reactive, kva, factor, hertz, self._kwh(count), count & 0xFFFF, count


def electrical(f: Figures) -> Electrical:
    """A sample's figures as a noun."""
    return Electrical(f[0:3], f[3:6], f[6:9], f[9:12], f[12], f[13], f[15], f[16], f[17], f[19])


def _figures(flow: Flow, trouble: MeterTroubles) -> tuple[float, ...]:
    """Without noise: volts LN, volts LL, amps, kW, kvar, each of three phases, and hertz (0 without volts)."""
    (a, b, c), i = flow.volts, [trouble.ratio * x for x in flow.amps_ka]
    if trouble.no_volts:
        a = b = c = 0j
    if trouble.exchanged:
        one, other = trouble.exchanged
        i[one], i[other] = i[other], i[one]
    if trouble.reversed is not None:
        i[trouble.reversed] = -i[trouble.reversed]
    sa, sb, sc = a * i[0].conjugate(), b * i[1].conjugate(), c * i[2].conjugate()
    values = (
        abs(a),
        abs(b),
        abs(c),
        abs(a - b),
        abs(b - c),
        abs(c - a),
        1000.0 * abs(i[0]),
        1000.0 * abs(i[1]),
        1000.0 * abs(i[2]),
        sa.real,
        sb.real,
        sc.real,
        sa.imag,
        sb.imag,
        sc.imag,
        flow.hertz if max(abs(a), abs(b), abs(c)) > 5.0 else 0.0,
    )
    return tuple([f if f > 1e-9 or f < -1e-9 else 0.0 for f in values])  # what rounding leaves of nothing is nothing


def _some(values: Three, present: tuple[int, ...]) -> Three:
    """Absent phases are None."""
    a, b, c = (values[k] if k in present else None for k in range(3))
    return a, b, c
