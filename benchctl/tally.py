"""Totals of a run, counted frame by frame: peaks, cool-down, trips, events, and a curve for the eye."""

from dataclasses import dataclass, field

from benchctl.core.decision import Frame, Settings
from benchctl.core.reading import Maybe
from benchctl.core.state import Mode

CURVE_POINTS = 4000  # kept at most; thinned by two when there are more


@dataclass(slots=True)
class Tally:
    """A listener. Delivered kW are counted as the program counts its target: the chain's, or the source's."""

    settings: Settings
    peak_kw: Maybe = None
    peak_from: str = ""
    trips: int = 0
    events: int = 0
    scans: int = 0
    virtual_s: float = 0.0
    curve: list[tuple[float, float, Maybe]] = field(default_factory=list)  # time, target, delivered
    _every: int = 1
    _cooling_s: list[float] = field(default_factory=list)
    _loaded: list[bool] = field(default_factory=list)
    _paying: list[bool] = field(default_factory=list)

    def __call__(self, frame: Frame) -> None:
        """Count one frame."""
        state, seen = frame.decision.state, frame.decision.seen
        self.scans += 1
        self.virtual_s = frame.inputs.now_s
        self.events += len(frame.decision.events)
        self.trips += sum(e.kind == "trip" for e in frame.decision.events)
        delivered_kw, told_by = self._delivered(frame)
        highest = delivered_kw is not None and (self.peak_kw is None or delivered_kw > self.peak_kw)
        if state.mode is Mode.RUN and highest:
            self.peak_kw, self.peak_from = delivered_kw, told_by
        if self.scans % self._every == 0:
            self.curve.append((frame.inputs.now_s, state.target_kw, delivered_kw))
            if len(self.curve) > CURVE_POINTS:
                self.curve, self._every = self.curve[::2], self._every * 2
        if not self._loaded:
            count = len(seen.units)
            self._loaded, self._paying, self._cooling_s = [False] * count, [False] * count, [0.0] * count
        for i, u in enumerate(state.units):
            if u.possible:
                self._loaded[i], self._cooling_s[i] = True, 0.0
            elif u.hot:
                self._cooling_s[i], self._paying[i] = u.cooling_s, True
            elif self._paying[i]:  # paid in this scan
                self._cooling_s[i] += frame.inputs.dt_s
                self._paying[i] = False

    def _delivered(self, frame: Frame) -> tuple[Maybe, str]:
        seen = frame.decision.seen
        if self.settings.counts_source:
            return seen.source_kw, seen.source_from or seen.delivered_from
        return seen.delivered_kw, seen.delivered_from

    @property
    def cool_down_s(self) -> float:
        """Longest cool-down after load of all units, in seconds; 0 when none had load."""
        return max((s for s, loaded in zip(self._cooling_s, self._loaded, strict=True) if loaded), default=0.0)
