"""A tree against a model: every flaw of a file at once, each with its place and in words for people."""

import types
import typing
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    WithJsonSchema,
)
from pydantic_core import ErrorDetails

from benchctl.files import amounts
from benchctl.files.fault import FileFault, Flaw, nearest, quoted
from benchctl.files.shelf import SourceFile
from benchctl.files.tree import Node, Path, parse, plain

M = TypeVar("M", bound="Strict")


class Strict(BaseModel):
    """A mapping of a file: no unknown keys, no silent conversions."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=False)


def _written(value: object) -> object:
    return getattr(value, "written", value)


def _one_line(text: str) -> str:
    if not text.strip() or not text.isprintable():
        raise ValueError(f"{quoted(text)} is empty or has characters that cannot be printed on one line")
    return text.strip()


def _amount(parser: typing.Callable[[object], Any], pattern: str, says: str) -> Any:
    schema = {"type": "string", "pattern": pattern, "description": says}
    return (BeforeValidator(parser), WithJsonSchema(schema))


_POWER = rf"^{amounts.NUMBER} ?(W|kW|MW)$"
_LOAD = rf"^{amounts.NUMBER} ?(W|kW|MW|%)$"

# A text keeps what was written: a serial number 4711 is no number.
Text = Annotated[
    str,
    BeforeValidator(_written),
    AfterValidator(_one_line),
    Field(max_length=300),
    WithJsonSchema({"type": ["string", "number"]}),
]
Duration = Annotated[float, *_amount(amounts.duration_s, amounts.DURATION_PATTERN, "90 s, 15 min, 1 h 30 min")]
Power = Annotated[float, *_amount(amounts.power_kw, _POWER, "250 kW, 0.3 MW")]
Apparent = Annotated[float, *_amount(amounts.apparent_kva, rf"^{amounts.NUMBER} ?(VA|kVA|MVA)$", "500 kVA")]
Percent = Annotated[float, *_amount(amounts.percent, rf"^{amounts.NUMBER} ?%$", "75 %")]
Load = Annotated[tuple[float, bool], *_amount(amounts.load, _LOAD, "250 kW or 75 % of the nameplate")]
Positive = Annotated[float, Field(gt=0, le=1e6)]
AtLeastZero = Annotated[float, Field(ge=0, le=1e6)]
Celsius = Annotated[float, Field(ge=-60, le=1000)]


class Report:
    """Gathers the flaws of one file."""

    def __init__(self, source: SourceFile) -> None:
        self.source = source
        self.flaws: list[Flaw] = []
        self.tree: Node = parse(source.text, source.path)
        self._lines = source.text.splitlines()

    def at(self, path: Path, told: str, key: bool = False) -> None:
        """A flaw at the value under a path (or at its key)."""
        node, _ = self.tree.find(path)
        line, column = node.line, node.column
        if key and path:
            parent, found = self.tree.find(path[:-1])
            if found:
                line, column = parent.keys.get(str(path[-1]), (line, column))
        text = self._lines[line - 1] if 0 < line <= len(self._lines) else ""
        self.flaws.append(Flaw(self.source.path, line, column, told, text))

    def line(self, path: Path) -> int:
        """Line of the value under a path."""
        return self.tree.find(path)[0].line

    def settle(self) -> None:
        """Raise FileFault if there are flaws."""
        if self.flaws:
            raise FileFault(self.flaws)

    def read(self, model: type[M]) -> M:
        """The file as a model. Raises FileFault with every flaw that the model finds."""
        try:
            return model.model_validate(plain(self.tree))
        except ValidationError as fault:
            for error in fault.errors(include_url=False):
                self._tell(model, error)
            raise FileFault(self.flaws) from None

    def _tell(self, model: type[BaseModel], error: ErrorDetails) -> None:
        path, kind = tuple(error["loc"]), error["type"]
        if kind == "extra_forbidden":
            known = _keys(model, path[:-1])
            self.at(path, f"unknown key {quoted(path[-1])}{nearest(str(path[-1]), known)}", key=True)
        elif kind == "missing":
            wanted = ", ".join(_keys(model, path[:-1], required=True))
            self.at(path[:-1], f"key '{path[-1]}' is missing here (needed: {wanted})")
        else:
            self.at(path, _sentence(error), key=len(path) > 0 and path[-1] == "[key]")


def _sentence(error: ErrorDetails) -> str:
    kind, found, ctx = error["type"], error["input"], error.get("ctx", {})
    if kind == "value_error":
        return str(ctx["error"])
    shown = (
        "nothing"
        if found is None
        else "a mapping"
        if isinstance(found, dict)
        else "a list"
        if isinstance(found, list)
        else quoted(str(found).lower() if isinstance(found, bool) else found)
    )
    if kind == "literal_error":
        known = [word.strip("'") for word in str(ctx["expected"]).replace(" or ", ", ").split(", ")]
        return f"found {shown}, expected one of: {', '.join(known)}" + (
            nearest(str(found), known) if len(known) > 12 or "did you" in nearest(str(found), known) else ""
        )
    return (
        f"found {shown}, expected {_WANTED[kind].format(**ctx)}"
        if kind in _WANTED
        else f"found {shown}: {error['msg']}"
    )


_WANTED = {
    "string_type": "a text",
    "float_type": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false",
    "list_type": "a list",
    "dict_type": "a mapping of keys and values",
    "model_type": "a mapping of keys and values",
    "tuple_type": "a list",
    "finite_number": "a finite number",
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than": "less than {lt}",
    "less_than_equal": "at most {le}",
    "too_short": "at least {min_length} of them",
    "too_long": "at most {max_length} of them",
    "string_too_short": "at least {min_length} characters",
    "string_too_long": "at most {max_length} characters",
    "int_parsing_size": "a smaller number",
}


def _keys(model: type[BaseModel], path: Path, required: bool = False) -> list[str]:
    """Keys that a mapping at a path of the model may have (or must have)."""
    here: Any = model
    for part in path:
        models = _models(here)
        if isinstance(part, str) and models:
            inner = {(f.alias or name): f.annotation for name, f in models[0].model_fields.items()}
            here = inner.get(part, here)
    models = _models(here)
    known = models[0].model_fields if models else {}
    return [f.alias or name for name, f in known.items() if f.is_required() or not required]


def _models(annotation: Any) -> list[type[BaseModel]]:
    """The models inside an annotation such as list[Row] | None."""
    if isinstance(annotation, type) and get_origin(annotation) is None:
        return [annotation] if issubclass(annotation, BaseModel) else []
    if get_origin(annotation) in (Union, types.UnionType, list, dict, tuple, Annotated):
        return [m for arg in get_args(annotation) for m in _models(arg)]
    return []
