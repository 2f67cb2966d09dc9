"""The digest of a state: SHA-256 over its values in the order of their declaration, 16 bytes of it.

The values go through Python's own binary writer in its version 2, which has no references between objects: equal
values give equal bytes, exact to the last bit of every double. Text such as repr would cost many times as much, in
every scan. Dictionaries count as a set of pairs: the order of insertion does not matter.
"""

import dataclasses
import hashlib
import marshal
import types
import typing
from collections.abc import Callable
from enum import Enum
from operator import attrgetter
from typing import Any

from benchctl.core.state import State

Flatten = Callable[[Any], Any]
VERSION = 2
_KNOWN: dict[Any, Flatten] = {}


def state_digest(state: State) -> bytes:
    """16 bytes that tell two states apart."""
    return hashlib.sha256(value_bytes(flatten(State)(state))).digest()[:16]


def value_bytes(value: Any) -> bytes:
    """Bytes of tuples of plain values."""
    return marshal.dumps(value, VERSION)


def flatten(kind: Any) -> Flatten:
    """A function that turns a value of the declared type into nested tuples of plain values."""
    known = _KNOWN.get(kind)
    if known is None:
        known = _KNOWN[kind] = _convert(kind) or _same
    return known


def _same(value: Any) -> Any:
    return value


def _convert(kind: Any) -> Flatten | None:
    """As flatten, or None where the value is plain already."""
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return attrgetter("_value_")
    if dataclasses.is_dataclass(kind):
        return _object(typing.cast("type[Any]", kind))
    if origin in (typing.Union, types.UnionType):
        return _by_class if any(_convert(a) for a in args) else None
    if origin is tuple:
        return _row(args)
    if origin is dict:
        one = flatten(args[1])
        return lambda pairs: tuple([(key, one(pairs[key])) for key in sorted(pairs)])
    return None


def _by_class(value: Any) -> Any:
    return (type(value).__name__, flatten(type(value))(value))


def _row(args: tuple[Any, ...]) -> Flatten | None:
    if args[-1:] == (...,):
        one = _convert(args[0])
        return None if one is None else lambda values: tuple([one(v) for v in values])
    each = [_convert(a) for a in args]
    if not any(each):
        return None
    known = [c or _same for c in each]
    return lambda values: tuple([c(v) for c, v in zip(known, values, strict=True)])


def _object(kind: type[Any]) -> Flatten:
    """Plain values by one attrgetter, down into nested objects; the others one by one."""
    paths: list[str] = []
    special: list[tuple[Flatten, Flatten]] = []
    _walk(kind, "", paths, special)
    direct = attrgetter(*paths)
    if not special:
        return direct
    return lambda value: (direct(value), *[convert(get(value)) for get, convert in special])


def _walk(kind: type[Any], prefix: str, paths: list[str], special: list[tuple[Flatten, Flatten]]) -> None:
    hints = typing.get_type_hints(kind)
    for field in dataclasses.fields(kind):
        path, hint = prefix + field.name, hints[field.name]
        if dataclasses.is_dataclass(hint):
            _walk(typing.cast("type[Any]", hint), path + ".", paths, special)
        elif isinstance(hint, type) and issubclass(hint, Enum):
            paths.append(path + "._value_")
        elif convert := _convert(hint):
            special.append((attrgetter(path), convert))
        else:
            paths.append(path)
