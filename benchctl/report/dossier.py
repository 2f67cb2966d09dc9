"""Everything that a report is drawn from, at one place: the record's facts, its trail, the verdicts, the choices."""

import bisect
import math
from array import array
from dataclasses import dataclass
from datetime import datetime, timedelta

from benchctl.assessment.trail import Trail
from benchctl.assessment.verdict import Judgement, Working
from benchctl.core.site import Instrument
from benchctl.planning.plan import Plan
from benchctl.report.measures import Measures
from benchctl.report.recorded import Recorded

NO_LOAD_PERCENT = 2.0  # of nameplate: below it a source runs without load, its own auxiliaries apart; common practice


@dataclass(slots=True)
class Dossier:
    """What the sections read. plan: None for a run by hand."""

    run: Recorded
    trail: Trail
    judgements: tuple[Judgement, ...]
    figures: tuple[Working, ...]
    plan: Plan | None
    measures: Measures

    @property
    def begun(self) -> datetime:
        """Wall clock of the first scan, with its offset."""
        return self.run.begun

    @property
    def length_s(self) -> float:
        """From the first scan to the last."""
        return self.run.t_s[-1] if len(self.run.t_s) else 0.0

    def at(self, at_s: float) -> datetime:
        """Wall clock of a moment."""
        return self.begun + timedelta(seconds=at_s)

    def time(self, at_s: float | None) -> str:
        """Time of day of a moment, to the second."""
        return "–" if at_s is None or not math.isfinite(at_s) else self.at(at_s).strftime("%H:%M:%S")

    @property
    def source_meter(self) -> Instrument | None:
        """The meter at the source, the chain's where there is none."""
        meters = {i.place: i for i in reversed(self.run.site.instruments) if i.role == "meter"}
        return meters.get("source") or meters.get("chain") or meters.get("site load")

    def percent(self, power_kw: float) -> float:
        """In percent of the nameplate."""
        return 100.0 * power_kw / self.run.site.nameplate.power_kw

    def sample(self, column: "array[float]", at_s: float, late_s: float = 5.0) -> float | None:
        """The last known sample at or before a moment, not older than late_s."""
        i = bisect.bisect_right(self.trail.t_s, at_s + 1e-9) - 1
        while i >= 0 and self.trail.t_s[i] >= at_s - late_s:
            if i < len(column) and not math.isnan(column[i]):
                return column[i]
            i -= 1
        return None

    def within(self, column: "array[float]", from_s: float, to_s: float) -> list[float]:
        """The known samples of a stretch of time, its end not included."""
        low, high = bisect.bisect_left(self.trail.t_s, from_s), bisect.bisect_left(self.trail.t_s, to_s)
        return [v for v in column[low:high] if not math.isnan(v)]
