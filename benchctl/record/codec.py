"""Nouns to plain data (what JSON can hold) and back, without loss, driven by the declared types.

Objects become dictionaries of all their fields, tuples and sets become lists, enums their values, dictionaries
lists of pairs. Where a type allows several nouns, the name of the noun is kept under "is". Floats stay exact, because
Python's JSON writes the shortest text that reads back to the same double; infinities become the words "inf" and
"-inf"; NaN is refused. Fields that a noun has got since a record was written take their defaults; those that it has
lost since (GONE) are read over.
"""

import dataclasses
import json
import math
import types
import typing
from collections.abc import Callable
from enum import Enum
from math import isfinite
from typing import Any, TypeVar

T = TypeVar("T")
Convert = Callable[[Any], Any]
Fields = tuple[tuple[str, Convert, Convert, bool], ...]
_ENCODER = json.JSONEncoder(separators=(",", ":"), allow_nan=False)
_KNOWN: dict[Any, tuple[Convert, Convert]] = {}
_FIELDS: dict[type, Fields] = {}
SCALARS = (bool, int, float, str)
IS = "is"
GONE: dict[str, frozenset[str]] = {"State": frozenset({"remarks"})}  # a count that nobody read


class CodecFault(ValueError):  # noqa: N818 - the house calls what is wrong a fault
    """A value that the declared type does not allow. str() names the field."""


def plain(value: Any, kind: Any = None) -> Any:
    """Plain data of a noun; kind: its declared type, where that is not its class. Raises CodecFault."""
    return _converts(type(value) if kind is None else kind)[0](value)


def noun(kind: type[T], data: Any) -> T:
    """The noun of that type from its plain data. Raises CodecFault."""
    return typing.cast("T", _converts(kind)[1](data))


def compact(data: Any) -> str:
    """JSON text without blanks. Raises ValueError for NaN and infinities."""
    return _ENCODER.encode(data)


def _converts(kind: Any) -> tuple[Convert, Convert]:
    known = _KNOWN.get(kind)
    if known is None:
        known = _KNOWN[kind] = _find(kind)
    return known


def _find(kind: Any) -> tuple[Convert, Convert]:
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if kind is Any or kind is object:
        return _any_out, _any_in
    if kind in SCALARS or kind is type(None):
        return _scalar(kind)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return _enum(kind)
    if dataclasses.is_dataclass(kind):
        return _object(typing.cast("type[Any]", kind))
    if origin in (typing.Union, types.UnionType):
        return _union(args)
    if origin in (tuple, frozenset, list, dict):
        return _many(origin, args)
    raise CodecFault(f"{kind}: a type that a record cannot hold")


def _scalar(kind: type[Any]) -> tuple[Convert, Convert]:
    allowed: tuple[type, ...] = (int, float) if kind in (int, float) else (kind,)

    def check(value: Any) -> Any:
        if type(value) not in allowed:
            raise CodecFault(f"{value!r}: expected {kind.__name__}")
        return value

    def out(value: Any) -> Any:
        if type(value) not in allowed:
            raise CodecFault(f"{value!r}: expected {kind.__name__}")
        if type(value) is float and not isfinite(value):
            if math.isnan(value):
                raise CodecFault("NaN: a value that is not known is None")
            return "inf" if value > 0.0 else "-inf"
        return value

    def back(value: Any) -> Any:
        return float(value) if kind is float and value in ("inf", "-inf") else check(value)

    return out, back


def _enum(kind: type[Enum]) -> tuple[Convert, Convert]:
    def out(value: Any) -> Any:
        if type(value) is not kind:
            raise CodecFault(f"{value!r}: expected {kind.__name__}")
        return value.value

    def back(value: Any) -> Any:
        try:
            return kind(value)
        except ValueError:
            raise CodecFault(f"{value!r}: no {kind.__name__}") from None

    return out, back


def _fields(kind: type[Any]) -> Fields:
    """Name, both converters, and whether the field may be left out; found when first used: nouns may be nested."""
    if kind in _FIELDS:
        return _FIELDS[kind]
    hints = typing.get_type_hints(kind)
    missing = dataclasses.MISSING
    _FIELDS[kind] = tuple(
        (f.name, *_converts(hints[f.name]), f.default is not missing or f.default_factory is not missing)
        for f in dataclasses.fields(kind)
    )
    return _FIELDS[kind]


def _object(kind: type[Any]) -> tuple[Convert, Convert]:
    def out(value: Any) -> Any:
        if type(value) is not kind:
            raise CodecFault(f"{value!r}: expected {kind.__name__}")
        data = {}
        for name, convert, _, _ in _fields(kind):
            try:
                data[name] = convert(getattr(value, name))
            except CodecFault as fault:
                raise CodecFault(f"{kind.__name__}.{name}: {fault}") from None
        return data

    def back(data: Any) -> Any:
        if not isinstance(data, dict):
            raise CodecFault(f"{data!r}: expected the fields of {kind.__name__}")
        values = {}
        for name, _, convert, optional in _fields(kind):
            if name in data:
                try:
                    values[name] = convert(data[name])
                except CodecFault as fault:
                    raise CodecFault(f"{kind.__name__}.{name}: {fault}") from None
            elif not optional:
                raise CodecFault(f"{kind.__name__}.{name} is missing")
        unknown = data.keys() - values.keys() - {IS} - GONE.get(kind.__name__, frozenset())
        if unknown:
            raise CodecFault(f"{kind.__name__} has no {', '.join(sorted(unknown))}")
        return kind(**values)

    return out, back


def _union(args: tuple[Any, ...]) -> tuple[Convert, Convert]:
    scalars = tuple(a for a in args if a in SCALARS)
    nouns: dict[str, Any] = {a.__name__: a for a in args if isinstance(a, type) and dataclasses.is_dataclass(a)}
    others = [a for a in args if a not in scalars and a is not type(None) and a not in nouns.values()]
    if len(nouns) > 1 and not scalars and not others:
        return _one_of(nouns)
    rest = [*nouns.values(), *others]
    if len(rest) + bool(scalars) > 1:
        raise CodecFault(f"{args}: too many kinds in one field")
    if rest or len(scalars) == 1:
        out, back = _converts((rest or scalars)[0])
        return (lambda v: None if v is None else out(v)), (lambda v: None if v is None else back(v))

    def check(value: Any) -> Any:
        endless = type(value) is float and not isfinite(value)
        if endless or (value is not None and type(value) not in scalars):
            raise CodecFault(f"{value!r}: expected one of {', '.join(s.__name__ for s in scalars)}")
        return value

    return check, check


def _one_of(nouns: dict[str, Any]) -> tuple[Convert, Convert]:
    def out(value: Any) -> Any:
        if value is None:
            return None
        name = type(value).__name__
        if nouns.get(name) is not type(value):
            raise CodecFault(f"{value!r}: expected one of {', '.join(nouns)}")
        return {IS: name, **_converts(nouns[name])[0](value)}

    def back(data: Any) -> Any:
        if data is None:
            return None
        if not isinstance(data, dict) or data.get(IS) not in nouns:
            raise CodecFault(f"{data!r}: expected one of {', '.join(nouns)}")
        return _converts(nouns[data[IS]])[1](data)

    return out, back


def _many(origin: Any, args: tuple[Any, ...]) -> tuple[Convert, Convert]:
    if origin is dict:
        out, back = _converts(tuple[args[0], args[1]])  # type: ignore[valid-type]
        return (lambda v: [out(pair) for pair in v.items()]), (lambda v: dict(back(pair) for pair in v))
    if origin is tuple and args[-1:] != (...,):
        return _row(args)
    out, back = _converts(args[0])
    arrange: Callable[[Any], Any] = sorted if origin is frozenset else iter
    return (lambda v: [out(x) for x in arrange(_checked(v, origin))]), (lambda v: origin(back(x) for x in _listed(v)))


def _row(args: tuple[Any, ...]) -> tuple[Convert, Convert]:
    converts = [_converts(a) for a in args]

    def sized(values: Any) -> Any:
        if len(values) != len(converts):
            raise CodecFault(f"{values!r}: expected {len(converts)} values")
        return values

    return (lambda v: [c[0](x) for c, x in zip(converts, sized(_checked(v, tuple)), strict=True)]), (
        lambda v: tuple(c[1](x) for c, x in zip(converts, sized(_listed(v)), strict=True))
    )


def _checked(value: Any, kind: type) -> Any:
    if type(value) is not kind:
        raise CodecFault(f"{value!r}: expected {kind.__name__}")
    return value


def _listed(value: Any) -> Any:
    return _checked(value, list)


def _any_out(value: Any) -> Any:
    """Scalars and tuples of them: what a field of no stated type may hold."""
    if type(value) is tuple:
        return [_any_out(x) for x in value]
    if value is None or (type(value) in SCALARS and not (type(value) is float and not isfinite(value))):
        return value
    raise CodecFault(f"{value!r}: expected a plain value")


def _any_in(value: Any) -> Any:
    return tuple(_any_in(x) for x in value) if isinstance(value, list) else value
