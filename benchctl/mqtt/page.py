"""The messages as JSON Schemas (configs/schemas/mqtt-*.schema.json) and as a table."""

from typing import Any

from pydantic import TypeAdapter

from benchctl.mqtt.payloads import SCHEMA
from benchctl.mqtt.topics import LEAVES

DIALECT = "https://json-schema.org/draft/2020-12/schema"
KINDS = {f"mqtt-{leaf.name}": leaf for leaf in LEAVES}


def schema(kind: str) -> dict[str, Any]:
    """JSON Schema (Draft 2020-12) of a kind of message, `mqtt-snapshot` and so on. Raises KeyError."""
    leaf = KINDS[kind]
    made = TypeAdapter(leaf.noun).json_schema(mode="serialization")
    made["properties"]["schema"] = {"const": SCHEMA}
    return {"$schema": DIALECT, **_untitled(made), "title": f"benchctl {kind}"}


def table() -> str:
    """A Markdown table of the messages."""
    rows = ["| topic, below ROOT/WORLD/BENCH | retained | QoS | what |", "|---|---|---|---|"]
    for leaf in LEAVES:
        name = f"{leaf.name}/WHAT" if leaf.name == "event" else leaf.name
        rows.append(f"| `{name}` | {'yes' if leaf.retained else 'no'} | {leaf.qos} | {leaf.says} |")
    return "\n".join(rows) + "\n"


def _untitled(part: Any) -> Any:
    """Without pydantic's titles, which say nothing."""
    if isinstance(part, list):
        return [_untitled(item) for item in part]
    if not isinstance(part, dict):
        return part
    return {k: _untitled(v) for k, v in part.items() if not (k == "title" and isinstance(v, str))}
