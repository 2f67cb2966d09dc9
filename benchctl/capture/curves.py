"""A recording → curves: rms volts of each line, rms amps, kW and hertz, each with how often it has a value."""

import math
from array import array
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import mul, sub

from benchctl.capture.recording import PAIRS, PHASES, Channel, Recording
from benchctl.capture.waves import FEWEST, Crossings, crossings, cycle_means, frequency_hz, middles, rms
from benchctl.core.ruleset import Quantity

UNEVEN = 0.02  # of the spacing: samples further off their even place are no evenly spaced ones


@dataclass(frozen=True, slots=True)
class Curve:
    """of: a pair, a phase, or empty. t_s: from the first sample. window_s: time that each value is taken over."""

    quantity: Quantity
    of: str
    t_s: "array[float]"
    values: "array[float]"
    refresh_s: float
    window_s: float

    @property
    def name(self) -> str:
        """As "volts AB"."""
        return f"{self.quantity.value} {self.of.upper()}".strip()


def curves_of(recording: Recording, hertz: float, phases: int = 3) -> tuple[tuple[Curve, ...], tuple[str, ...]]:
    """The curves of a recording, and what was assumed, in sentences. hertz: rated, to know about how long a cycle is.

    phases: of the source. With more than one, volts come out between lines: differences of waveforms; of a phase alone,
    or of rms values to neutral, √3 times those (twice for two phases). Raises ValueError when waveforms are too coarse
    or not evenly spaced.
    """
    notes: list[str] = []
    waves = [c for c in recording.channels if c.waveform]
    steady = [_between(c, phases, notes) for c in recording.channels if not c.waveform]
    curves = [_plain(recording, c) for c in steady]
    if waves:
        curves = [*_from_waves(recording, waves, hertz, phases, notes), *curves]
    return tuple(curves), tuple(notes)


def _from_waves(recording: Recording, waves: list[Channel], hertz: float, phases: int, notes: list[str]) -> list[Curve]:
    _evenly_spaced(recording)
    spacing_s = recording.spacing_s
    cycle = 1.0 / (hertz * spacing_s)
    lead = next((c for c in waves if c.quantity is Quantity.VOLTS), waves[0])
    found = crossings(_filled(lead.values), cycle)
    t_s = middles(found, spacing_s)
    if not t_s:
        raise ValueError(f"no cycle of about {hertz:g} Hz is to be found in {lead.name}; is it a waveform?")
    each_s, window_s = 0.5 / hertz, 1.0 / hertz

    def curve(quantity: Quantity, of: str, values: "array[float]") -> Curve:
        return Curve(quantity, of, t_s, values, each_s, window_s)

    measured = [replace(c, values=rms(c.values, found)) for c in _lines(waves, phases)]
    lines = [_between(c, phases, notes) for c in measured]
    curves = [curve(c.quantity, c.of, c.values) for c in lines]
    if lead.quantity is Quantity.VOLTS:
        curves.append(curve(Quantity.HERTZ, "", _known_hertz(lead.values, found, spacing_s)))
    return [*curves, *(curve(Quantity.POWER, "", power) for power in _power(waves, found, phases))]


def _known_hertz(values: Sequence[float], found: Crossings, spacing_s: float) -> "array[float]":
    """Frequency; not known within a cycle of samples that are missing."""
    hertz = frequency_hz(found, spacing_s)
    for k, mean in enumerate(cycle_means(values, found)):
        if math.isnan(mean):
            for near in range(max(0, k - 2), min(len(hertz), k + 3)):
                hertz[near] = math.nan
    return hertz


def _power(waves: list[Channel], found: Crossings, phases: int) -> "list[array[float]]":
    """Total kW over each cycle, where volts to neutral and amps of all phases are there."""
    volts = {c.of: c.values for c in waves if c.quantity is Quantity.VOLTS}
    amps = {c.of: c.values for c in waves if c.quantity is Quantity.AMPS}
    live = PHASES[:phases]
    if not all(p in volts and p in amps for p in live):
        return []
    each = [cycle_means(list(map(mul, volts[p], amps[p])), found) for p in live]
    return [array("d", [sum(watts) / 1000.0 for watts in zip(*each, strict=True)])]


def _lines(waves: list[Channel], phases: int) -> list[Channel]:
    """Line volts by difference where all to neutral are there and no pair is."""
    volts = {c.of: c for c in waves if c.quantity is Quantity.VOLTS}
    wanted = PAIRS if phases == 3 else PAIRS[: phases - 1]
    if not wanted or any(p in volts for p in PAIRS) or not all(p in volts for p in PHASES[:phases]):
        return list(waves)
    pairs = [
        Channel(pair, Quantity.VOLTS, pair, True, array("d", map(sub, volts[pair[0]].values, volts[pair[1]].values)))
        for pair in wanted
    ]
    return [*pairs, *(c for c in waves if c.quantity is not Quantity.VOLTS)]


def _between(channel: Channel, phases: int, notes: list[str]) -> Channel:
    """Rms volts to neutral as volts between lines, as far as magnitudes can tell."""
    if channel.quantity is not Quantity.VOLTS or channel.of not in PHASES or phases < 2:
        return channel
    times, word = (math.sqrt(3.0), "√3") if phases == 3 else (2.0, "2")
    notes.append(f"{channel.name}: volts to neutral, taken times {word} as volts between lines")
    return replace(channel, of=f"{channel.of}-N × {word}", values=array("d", [v * times for v in channel.values]))


def _plain(recording: Recording, channel: Channel) -> Curve:
    """Values as the recorder made them; how often they come anew is seen from the times."""
    each_s = recording.spacing_s
    window_s = each_s if channel.window_s is None else channel.window_s
    return Curve(channel.quantity, channel.of, recording.t_s, channel.values, max(each_s, window_s / 2.0), window_s)


def _filled(values: Sequence[float]) -> Sequence[float]:
    return [0.0 if math.isnan(v) else v for v in values] if any(map(math.isnan, values)) else values


def _evenly_spaced(recording: Recording) -> None:
    t_s, each_s = recording.t_s, recording.spacing_s
    if len(t_s) < FEWEST or not each_s > 0.0:
        raise ValueError(f"{len(t_s)} samples are too few for a waveform")
    for k, t in enumerate(t_s):
        if abs(t - t_s[0] - k * each_s) > max(UNEVEN, 1e-5 * k) * each_s:
            raise ValueError(
                f"sample {k + 1} is at {t:.6f} s, {each_s * 1e6:.1f} µs apart would be {t_s[0] + k * each_s:.6f} s: "
                "waveforms must be evenly sampled; save the part about the load step at one rate"
            )
