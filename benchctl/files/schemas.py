"""JSON Schemas (Draft 2020-12) of the files, for editors: generated from the models that read them."""

from dataclasses import fields
from typing import Any

from benchctl.core.quantities import QUANTITIES
from benchctl.core.scenario import FAULTS
from benchctl.core.site import Limits
from benchctl.files.broker import BrokerFile
from benchctl.files.check import Strict
from benchctl.files.instrument import InstrumentFile
from benchctl.files.mapping import MappingFile
from benchctl.files.profile import UnitFile
from benchctl.files.program import ProgramFile
from benchctl.files.ruleset_rows import RuleSetFile
from benchctl.files.scenario import ScenarioFile
from benchctl.files.site import SiteFile

DIALECT = "https://json-schema.org/draft/2020-12/schema"
MODELS: dict[str, type[Strict]] = {
    "site": SiteFile,
    "unit": UnitFile,
    "instrument": InstrumentFile,
    "program": ProgramFile,
    "scenario": ScenarioFile,
    "ruleset": RuleSetFile,
    "mapping": MappingFile,
    "broker": BrokerFile,
}


def schema_of(kind: str) -> dict[str, Any]:
    """The schema of a kind of file. Raises KeyError for an unknown kind."""
    made: dict[str, Any] = _without_nulls(MODELS[kind].model_json_schema(by_alias=True))
    if kind in ("unit", "instrument"):
        roles = {"unit": {"unit"}, "instrument": {"meter", "panel"}}[kind]
        made["properties"]["points"]["propertyNames"] = {"enum": [q.name for q in QUANTITIES if roles & set(q.roles)]}
    if kind == "site":
        made["properties"]["limits"] = _limits()
    if kind == "scenario":
        made["$defs"]["FaultRow"]["properties"]["fault"] = {"enum": [f.name for f in FAULTS]}
    return {"$schema": DIALECT, **made, "title": f"benchctl {kind}"}


def _limits() -> dict[str, Any]:
    rows = {
        f.name: {
            "type": "number",
            "minimum": 0,
            "default": f.default,
            "description": f"{f.metadata['unit'] or 'ratio'}: {f.metadata['reason']}",
        }
        for f in fields(Limits)
    }
    return {"type": "object", "properties": rows, "additionalProperties": False}


def _says(part: dict[str, Any], default: object) -> bool:
    """Whether a default can be written in a file as it stands: the seconds of `90 s` cannot."""
    written = {"string": str, "boolean": bool, "integer": int, "number": float}
    return isinstance(default, written.get(str(part.get("type")), ()))


def _without_nulls(part: Any) -> Any:
    """A key that may be left out is not a key that may be null; pydantic's titles say nothing and go too."""
    if isinstance(part, list):
        return [_without_nulls(item) for item in part]
    if not isinstance(part, dict):
        return part
    kept = {
        key: _without_nulls(value)
        for key, value in part.items()
        if not (key == "default" and not _says(part, value)) and not (key == "title" and isinstance(value, str))
    }
    choices = kept.get("anyOf")
    if isinstance(choices, list) and {"type": "null"} in choices:
        rest = [choice for choice in choices if choice != {"type": "null"}]
        kept = {
            **{k: v for k, v in kept.items() if k != "anyOf"},
            **(rest[0] if len(rest) == 1 else {"anyOf": rest}),
        }
    return kept
