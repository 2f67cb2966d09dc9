"""One rule set over one run: what every judge is given, and what one judge leaves for the next."""

from dataclasses import dataclass, field

from benchctl.assessment.spans import Run
from benchctl.assessment.trail import Trail
from benchctl.assessment.verdict import Input
from benchctl.core.ruleset import RuleSet

NAMEPLATE = "nameplate kW"
DERATED = "derated kW"


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
        return DERATED if self.rules.of_derated and self.trail.derated_kw else NAMEPLATE

    @property
    def base(self) -> tuple[Input, ...]:
        """What percents are of, and beside derated kW what they are derated from."""
        found = Input(self.base_name, self.base_kw, "kW")
        return (found,) if self.base_name == NAMEPLATE else (found, Input(NAMEPLATE, self.trail.nameplate_kw, "kW"))
