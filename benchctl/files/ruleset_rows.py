"""The rows of a rule set as they stand in its file."""

import re
from typing import Annotated, Literal

from pydantic import AfterValidator, ConfigDict, Field, WithJsonSchema

from benchctl.core.papers import PAPERS
from benchctl.core.readings import BY_NAME
from benchctl.core.ruleset import MEASURED
from benchctl.files.check import AtLeastZero, Duration, Percent, Positive, Strict, Text
from benchctl.files.fault import quoted

Mark = Literal["read in the text", "quoted elsewhere", "from memory", "computed", "common practice"]
Of = Literal["hertz", "volts", "kW", "amps"]
As = Literal["width", "deviation", "regulation", "droop", "unbalance of the mean", "unbalance of rated"]
Base = Literal["every scan", "logged reading", "one-minute mean"]
KEY = r"^[a-z][a-z0-9_]{0,39}$"


def _key(text: str) -> str:
    if not re.fullmatch(KEY, text):
        raise ValueError(f"{quoted(text)} is no key, expected small letters, digits and _, a letter first, at most 40")
    return text


Key = Annotated[Text, AfterValidator(_key), WithJsonSchema({"type": "string", "pattern": KEY})]
ReadingName = Annotated[Text, WithJsonSchema({"enum": [*BY_NAME, *MEASURED]})]
PaperName = Annotated[Text, WithJsonSchema({"enum": list(PAPERS)})]


class RuleRow(Strict):
    """What every rule has: its key, where its figures are from and how well they are known."""

    key: Key
    known: Mark
    source: Text | None = None
    clause: Text | None = None
    note: Text | None = None
    text: Text | None = None


class DutyRow(RuleRow):
    """Load for a time. Duties follow each other in the order of the file."""

    at_least: Percent | None = None
    at_most: Percent | None = None
    for_: Annotated[Duration, Field(alias="for")]


class UnbrokenRow(RuleRow):
    """The whole time without a break at or above a level."""

    at_least: Percent
    for_: Annotated[Duration, Field(alias="for")]


class SteadyRow(RuleRow):
    """A quantity that stays within so many percent while the load is steady."""

    of: Of
    as_: Annotated[As, Field(alias="as")]
    limit: Percent
    over: Duration = 30.0
    during: Key | None = None


class TransientRow(RuleRow):
    """After a sudden change of load: how far, and how long until it is back for good."""

    of: Literal["hertz", "volts"]
    on: Literal["load on", "load off"]
    deviation: Percent
    recovery: Duration
    band: Percent
    exit: Percent | None = None
    around: Literal["final", "rated"] = "final"
    step: Percent = 20.0


class StabilityRow(RuleRow):
    """So many readings in a row that do not differ by more than `within`, in the reading's own unit."""

    reading: ReadingName
    count: Annotated[int, Field(ge=2, le=100)]
    within: AtLeastZero
    every: Duration
    during: Key | None = None


class RestRow(RuleRow):
    """The source runs on at no load after the last load."""

    for_: Annotated[Duration, Field(alias="for")]
    no_load: Percent = 2.0


class ReadingsRow(RuleRow):
    """What is logged and how often."""

    every: Duration
    names: Annotated[list[ReadingName], Field(min_length=1)]
    at_start: bool = True
    late: Duration = 60.0


class FieldsRow(RuleRow):
    """What the record says besides measurements."""

    names: Annotated[list[PaperName], Field(min_length=1)]


class StepRow(RuleRow):
    """An operator's own step that a load-only run cannot show."""

    text: Text
    within: Duration | None = None
    at_least: Duration | None = None


class AutonomyRow(RuleRow):
    """A UPS or battery: constant kW to an end that must not come before the time."""

    load: Percent
    for_: Annotated[Duration, Field(alias="for")]
    end_volts: Positive | None = None
    tolerance: Percent = 2.0


class OneRule(Strict):
    """One rule: a mapping with one key, its kind."""

    model_config = ConfigDict(json_schema_extra={"minProperties": 1, "maxProperties": 1})

    duty: DutyRow | None = None
    unbroken: UnbrokenRow | None = None
    steady: SteadyRow | None = None
    transient: TransientRow | None = None
    stability: StabilityRow | None = None
    rest: RestRow | None = None
    readings: ReadingsRow | None = None
    fields: FieldsRow | None = None
    step: StepRow | None = None
    autonomy: AutonomyRow | None = None


class RuleSetFile(Strict):
    """Named limits and durations of a text, each with its clause and how well it is known."""

    title: Text
    document: Text
    edition: Text
    adopted: Text | None = None
    scope: Text | None = None
    notes: Annotated[list[Text], Field(default_factory=list)]
    sample_base: Base = "every scan"
    gap: Duration = 10.0
    of_derated: bool = False
    reading_interval: Duration = 900.0
    warm_up: Duration = 0.0
    rules: Annotated[list[OneRule], Field(max_length=500)]
