"""The nouns of a verdict: shown, not met or not demonstrated; which rule, which edition, and the sum to do again."""

from dataclasses import dataclass
from enum import Enum

from benchctl.core.ruleset import Origin


class Outcome(Enum):
    """Pass and fail are the authority's words; these are ours. Ordered: the worst of several is the largest."""

    SHOWN = "shown"
    NOT_DEMONSTRATED = "not demonstrated"
    NOT_MET = "not met"


@dataclass(frozen=True, slots=True)
class Input:
    """One value that went into a figure. at_s: time of its sample since the run's begin; None = not a sample."""

    name: str
    value: float | str | None
    unit: str = ""
    at_s: float | None = None


@dataclass(frozen=True, slots=True)
class Working:
    """A derived figure that a person can work out again."""

    name: str
    value: float | None
    unit: str
    formula: str
    inputs: tuple[Input, ...] = ()
    low: float | None = None  # where coarse samples leave an interval
    high: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """One rule judged. from_s, to_s: the two times it rests on, since the run's begin; None where there are none."""

    key: str
    criterion: str
    outcome: Outcome
    why: str
    origin: Origin
    from_s: float | None = None
    to_s: float | None = None
    working: tuple[Working, ...] = ()


@dataclass(frozen=True, slots=True)
class Judgement:
    """One rule set judged over one run. outcome: the worst of its verdicts."""

    rule_set: str
    title: str
    document: str
    edition: str
    adopted: str
    outcome: Outcome
    verdicts: tuple[Verdict, ...]
    notes: tuple[str, ...] = ()


ORDER = (Outcome.SHOWN, Outcome.NOT_DEMONSTRATED, Outcome.NOT_MET)


def worst(outcomes: tuple[Outcome, ...]) -> Outcome:
    """The worst; nothing judged is not demonstrated."""
    return max(outcomes, key=ORDER.index, default=Outcome.NOT_DEMONSTRATED)
