"""The nouns of a plan judged against a rule set, before anything is switched on."""

from dataclasses import dataclass
from enum import Enum

from benchctl.core.ruleset import Origin


class Standing(Enum):
    """What a plan promises of a rule. Ordered: the worst of several is the last."""

    SATISFIED = "satisfied"
    PEOPLE = "for people"  # to do and to record: no load shows it
    CANNOT = "cannot be shown"
    NOT = "not satisfied"


ORDER = tuple(Standing)


@dataclass(frozen=True, slots=True)
class Judged:
    """One rule. from_s, to_s: the program time that it rests on, None where there is none."""

    key: str
    kind: str
    criterion: str
    standing: Standing
    why: str
    origin: Origin
    from_s: float | None = None
    to_s: float | None = None


@dataclass(frozen=True, slots=True)
class Least:
    """What the duties of a rule set come to when nothing is added: time under load, energy, readings."""

    length_s: float
    energy_kwh: float
    readings: int


@dataclass(frozen=True, slots=True)
class PlanVerdict:
    """One rule set over one plan. standing: the worst of its rules; without rules nothing is promised."""

    rule_set: str
    title: str
    document: str
    edition: str
    adopted: str
    standing: Standing
    least: Least
    rules: tuple[Judged, ...]
    notes: tuple[str, ...] = ()


def worst(standings: tuple[Standing, ...]) -> Standing:
    """The worst; nothing judged cannot be shown."""
    return max(standings, key=ORDER.index, default=Standing.CANNOT)
