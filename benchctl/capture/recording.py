"""A recording as it was read: channels over one time axis, in V, A, Hz and kW. NaN = the file has no value."""

from array import array
from dataclasses import dataclass
from datetime import datetime

from benchctl.core.ruleset import Quantity

PAIRS = ("ab", "bc", "ca")
PHASES = ("a", "b", "c")


@dataclass(frozen=True, slots=True)
class Channel:
    """of: a pair, a phase, or empty. waveform: instantaneous values; else values that stand for window_s each."""

    name: str
    quantity: Quantity
    of: str
    waveform: bool
    values: "array[float]"
    window_s: float | None = None


@dataclass(frozen=True, slots=True)
class Recording:
    """t_s counts from the first sample. started: the recorder's clock then, None = it has none; zone as far as known.

    form: what kind of file, for people. notes: what was left out or assumed, in sentences.
    """

    file: str
    form: str
    t_s: "array[float]"
    channels: tuple[Channel, ...]
    started: datetime | None = None
    nominal_hz: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def length_s(self) -> float:
        """From the first sample to the last."""
        return self.t_s[-1] - self.t_s[0] if len(self.t_s) else 0.0

    @property
    def spacing_s(self) -> float:
        """Mean time between samples."""
        return self.length_s / (len(self.t_s) - 1) if len(self.t_s) > 1 else 0.0
