"""Energy of the run in hand: delivered kW over time, and whether all of it was seen."""

from benchctl.core.decision import Frame
from benchctl.core.reading import Maybe

HOUR_S = 3600.0


class Energy:
    """Trapezoids between scans in a row whose delivered kW were measured; what was not measured adds nothing.

    figures: kWh, None until a scan of the run tells kW; and whether nothing is missing in them. Fed in the engine's
    thread; `figures` may be asked in any.
    """

    def __init__(self) -> None:
        self.figures: tuple[Maybe, bool] = (None, True)  # replaced, never changed
        self._run: object = None
        self._last_kw: Maybe = None

    def put(self, frame: Frame, run: object) -> None:
        """A scan of this run; None = of none, which has no energy."""
        seen = frame.decision.seen
        last_kw, self._last_kw = self._last_kw, seen.delivered_kw
        if run is None or run is not self._run:  # a run begins with its first scan, not with the time before it
            self._run, self.figures = run, (None if run is None or seen.delivered_kw is None else 0.0, True)
            return
        kwh, whole = self.figures
        if last_kw is None or seen.delivered_kw is None or seen.gap_s:
            self.figures = kwh if seen.delivered_kw is None else kwh or 0.0, False
        else:
            self.figures = (kwh or 0.0) + (last_kw + seen.delivered_kw) / 2.0 * frame.inputs.dt_s / HOUR_S, whole
