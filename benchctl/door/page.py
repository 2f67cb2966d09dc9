"""The messages on one page: a table for people, a JSON Schema for machines (configs/schemas/door.schema.json)."""

from typing import Annotated, Any

from pydantic import Field, TypeAdapter

from benchctl.door import messages as m


def schema() -> dict[str, Any]:
    """JSON Schema (Draft 2020-12) of every message, by direction."""
    unions: dict[str, Any] = {
        "from_client": TypeAdapter(_union(m.FROM_CLIENT)).json_schema(ref_template="#/$defs/{model}"),
        "from_host": TypeAdapter(_union(m.FROM_HOST)).json_schema(ref_template="#/$defs/{model}", mode="serialization"),
    }
    parts: dict[str, Any] = {}
    for union in unions.values():
        parts |= union.pop("$defs")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"benchctl messages, version {m.PROTOCOL}",
        "$defs": dict(sorted(parts.items())),
        "properties": unions,
    }


def _union(models: tuple[type[m.Message], ...]) -> Any:
    joined: Any = models[0]
    for model in models[1:]:
        joined = joined | model
    return Annotated[joined, Field(discriminator="kind")]


def page() -> str:
    """A Markdown table of every message with its keys."""
    rows = ["| from | kind | keys | meaning |", "|---|---|---|---|"]
    for side, models in (("client", m.FROM_CLIENT), ("host", m.FROM_HOST)):
        for model in models:
            keys = [
                f"`{name}`" + ("" if f.is_required() or name == "protocol" else "?")
                for name, f in model.model_fields.items()
                if name != "kind"
            ]
            says = " ".join((model.__doc__ or "").split())
            rows.append(f"| {side} | `{m.kind_of(model)}` | {', '.join(keys)} | {says} |")
    return "\n".join(rows) + "\n"
