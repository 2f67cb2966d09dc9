"""What has come from a broker as a noun of `payloads`, or what is wrong with it: whoever may publish may send anything.

A message is used whole or not at all. Keys that are not known are left alone (they may be added, see `payloads`); a
key that is missing, or holds what it should not, is a flaw that names it.
"""

import json
import math
import types
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, Literal, NoReturn, TypeVar, Union, get_args, get_origin, get_type_hints

from benchctl.mqtt.payloads import SCHEMA, Head

LARGEST_BYTES = 4 << 20  # a snapshot of a thousand units is less than one
LONGEST = 2000  # characters of a text

N = TypeVar("N", bound=Head)


class Flaw(Exception):  # noqa: N818 - the house calls what is wrong so
    """A message is not used. str() says why, in a line that names the key; what was found is cut short in it."""


def read(kind: type[N], data: bytes) -> N:
    """The noun in a message. Raises Flaw."""
    if len(data) > LARGEST_BYTES:
        raise Flaw(f"{len(data)} bytes, at most {LARGEST_BYTES} are taken")
    try:
        found = json.loads(data.decode(), parse_constant=_no_number)
    except RecursionError:
        raise Flaw("is nested too deeply") from None
    except ValueError as fault:
        raise Flaw(f"is no JSON: {str(fault)[:80]}") from None
    if not isinstance(found, dict):
        raise Flaw(f"is {_short(found)}, expected an object")
    if found.get("schema") != SCHEMA:
        raise Flaw(f"schema is {_short(found.get('schema'))}, expected {SCHEMA}; is it of another version of benchctl?")
    noun: N = _noun(kind, found, "")
    return noun


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number; expected null")


def _noun(kind: type[Any], found: dict[str, Any], where: str) -> Any:
    values = {}
    hints: dict[str, Any] = _hints(kind)  # type: ignore[arg-type]  # a class is hashable
    for name, wanted in hints.items():
        at = f"{where}.{name}" if where else name
        if name not in found:
            raise Flaw(f"{at} is missing")
        values[name] = _value(wanted, found[name], at)
    return kind(**values)


@cache
def _hints(kind: type[Any]) -> dict[str, Any]:
    hints = get_type_hints(kind)
    return {field.name: hints[field.name] for field in fields(kind)}


def _value(wanted: Any, found: Any, where: str) -> Any:
    origin = get_origin(wanted)
    if wanted is Any:
        return found
    if origin in (Union, types.UnionType):
        return _either(get_args(wanted), found, where)
    if origin is Literal:
        if found in get_args(wanted) and isinstance(found, str):
            return found
        raise Flaw(f"{where} is {_short(found)}, expected {' or '.join(get_args(wanted))}")
    if origin is tuple:
        return _row(get_args(wanted), found, where)
    if origin is dict:
        return found if isinstance(found, dict) else _unfit(found, where, "an object")
    if is_dataclass(wanted) and isinstance(wanted, type):
        return _noun(wanted, found, where) if isinstance(found, dict) else _unfit(found, where, "an object")
    return _plain(wanted, found, where)


def _either(kinds: tuple[Any, ...], found: Any, where: str) -> Any:
    """One kind, or null."""
    if found is None and type(None) in kinds:
        return None
    (kind,) = (k for k in kinds if k is not type(None))
    return _value(kind, found, where)


def _row(kinds: tuple[Any, ...], found: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(found, list):
        _unfit(found, where, "a list")
    if len(kinds) == 2 and kinds[1] is Ellipsis:
        return tuple(_value(kinds[0], one, f"{where}[{i}]") for i, one in enumerate(found))
    if len(found) != len(kinds):
        raise Flaw(f"{where} has {len(found)} values, expected {len(kinds)}")
    return tuple(_value(kind, one, f"{where}[{i}]") for i, (kind, one) in enumerate(zip(kinds, found, strict=True)))


def _plain(wanted: Any, found: Any, where: str) -> Any:
    if wanted is bool:
        return found if isinstance(found, bool) else _unfit(found, where, "true or false")
    if wanted is str:
        if isinstance(found, str) and len(found) <= LONGEST:
            return found
        _unfit(found, where, f"a text of at most {LONGEST} characters")
    if isinstance(found, bool) or not isinstance(found, (int, float)):
        _unfit(found, where, "a number")
    if wanted is int:
        return found if isinstance(found, int) and abs(found) < 1 << 63 else _unfit(found, where, "a whole number")
    try:
        number = float(found)
    except OverflowError:
        number = math.inf
    return number if math.isfinite(number) else _unfit(found, where, "a number that is not so large")


def _unfit(found: Any, where: str, expected: str) -> NoReturn:
    raise Flaw(f"{where} is {_short(found)}, expected {expected}")


def _short(found: Any) -> str:
    """What was found, in a word or two."""
    if found is None:
        return "null"
    if isinstance(found, (dict, list)):
        return "an object" if isinstance(found, dict) else "a list"
    if isinstance(found, int) and not isinstance(found, bool) and abs(found) >= 1 << 63:
        return "a very large number"
    text = json.dumps(found)
    return text if len(text) <= 40 else text[:40] + "…"
