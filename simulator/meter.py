"""A meter: samples volts, amps and power at its own interval, with a little noise, and with whatever is wrong
with its wiring.

Per phase `P + jQ = U conj(I)`; totals are the sums over the phases. A turned transformer changes the sign of
its phase's power, exchanged ones multiply the wrong volts and amps: with balanced load each such phase shows
-1/2 of its kW (cos 120°).
"""

from dataclasses import dataclass, replace
from random import Random

from benchctl.core.reading import NONE3, Electrical, Three
from benchctl.core.site import Wiring
from simulator.network import Phasors

VOLTS_NOISE, AMPS_NOISE, HERTZ_NOISE = 2e-4, 5e-4, 2e-5  # share of value, one standard deviation; common practice
_SIZES = (*[VOLTS_NOISE] * 6, *[AMPS_NOISE] * 9, HERTZ_NOISE)
_ROWS = 211  # samples before the noise repeats


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
    """One measuring block. Its figures are primary ones, whatever its registers divide them by."""

    def __init__(self, refresh_s: float, wiring: Wiring, seed: str) -> None:
        rng = Random(seed)  # noqa: S311 - noise, not secrets
        self.refresh_s = max(refresh_s, 0.02)
        self.due_s = rng.random() * self.refresh_s
        self.trouble = MeterTroubles()
        self._known_trouble = MeterTroubles()
        self.count = 0
        self.energy_kwh = 0.0
        self._noise = [tuple(1.0 + size * max(-3.0, min(3.0, rng.gauss(0.0, 1.0))) for size in _SIZES)
                       for _ in range(_ROWS)]
        self._live, self._neutral = wiring.phases, wiring.has_neutral
        self._flow: Flow | None = None
        self._sampled_s = 0.0
        self._clean: tuple[Flow, tuple[float, ...]] | None = None
        self._value: tuple[int, Electrical] | None = None

    def sample(self, now_s: float, flow: Flow) -> None:
        """Take the samples that are due at now_s."""
        behind = int((now_s - self.due_s) / self.refresh_s + 1e-9) + 1
        self.due_s += behind * self.refresh_s
        if self.trouble.frozen:
            self._sampled_s = now_s
            return
        if self._flow is not None:
            self.energy_kwh += max(0.0, self._power()) * (now_s - self._sampled_s) / 3600.0
        self._flow, self._sampled_s = flow, now_s
        if self.trouble != self._known_trouble:
            self._known_trouble, self._clean = replace(self.trouble), None
        self.count += behind

    def _power(self) -> float:
        return sum(self._figures()[9:12])

    def _figures(self) -> tuple[float, ...]:
        """Without noise: volts LN, volts LL, amps, kW, kvar, each of three phases."""
        flow, trouble = self._flow, self.trouble
        if flow is None:
            return (0.0,) * 15
        if self._clean is not None and self._clean[0] is flow:
            return self._clean[1]
        u, i = list(flow.volts), [trouble.ratio * x for x in flow.amps_ka]
        if trouble.no_volts:
            u = [0j, 0j, 0j]
        if trouble.exchanged:
            a, b = trouble.exchanged
            i[a], i[b] = i[b], i[a]
        if trouble.reversed is not None:
            i[trouble.reversed] = -i[trouble.reversed]
        s = [u[k] * i[k].conjugate() for k in range(3)]
        values = (*(abs(x) for x in u), abs(u[0] - u[1]), abs(u[1] - u[2]), abs(u[2] - u[0]),
                   *(1000.0 * abs(x) for x in i), *(x.real for x in s), *(x.imag for x in s))
        figures = tuple([f if abs(f) > 1e-9 else 0.0 for f in values])  # what rounding leaves of nothing is nothing
        self._clean = flow, figures
        return figures

    def electrical(self) -> Electrical:
        """The values of the last sample; missing phases are None."""
        if self._value is None or self._value[0] != self.count:
            self._value = self.count, self._noisy()
        return self._value[1]

    def _noisy(self) -> Electrical:
        flow = self._flow
        if flow is None:
            return Electrical(refresh_count=self.count)
        row = self._noise[self.count % _ROWS]
        x = [clean * factor for clean, factor in zip(self._figures(), row, strict=False)]
        power, reactive = x[9] + x[10] + x[11], x[12] + x[13] + x[14]
        apparent = (power * power + reactive * reactive) ** 0.5
        hertz = flow.hertz * row[15] if max(x[:3]) > 5.0 else 0.0
        ln, ll, amps, kw = x[0:3], x[3:6], x[6:9], x[9:12]
        live = self._live
        lines = live if len(live) == 3 else live[:-1]
        return Electrical(
            _some(ll, lines), _some(ln, live) if self._neutral else NONE3, _some(amps, live), _some(kw, live),
            power, reactive,
            power / apparent if apparent > 1e-6 else 1.0, hertz, self.energy_kwh, self.count)


def _some(values: list[float], present: tuple[int, ...]) -> Three:
    """Absent phases are None."""
    if len(present) == 3:
        return values[0], values[1], values[2]
    a, b, c = (values[k] if k in present else None for k in range(3))
    return a, b, c
