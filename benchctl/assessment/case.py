"""One rule set over one run: what every judge is given, and what one judge leaves for the next."""

from dataclasses import dataclass, field

from benchctl.assessment.spans import Run
from benchctl.assessment.trail import Trail
from benchctl.core.ruleset import RuleSet


@dataclass(slots=True)
class Case:
    """placed: key of a duty → its counted time; filled by the duties, read by rules that say `during`."""

    trail: Trail
    rules: RuleSet
    placed: dict[str, Run] = field(default_factory=dict)

    @property
    def base_kw(self) -> float:
        """What percents of load are of."""
        return self.trail.base_kw if self.rules.of_derated else self.trail.nameplate_kw

    @property
    def base_name(self) -> str:
        """What it is called in a working."""
        derated = self.rules.of_derated and self.trail.derated_kw
        return "derated kW" if derated else "nameplate kW"
