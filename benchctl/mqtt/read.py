"""What has come from a broker as a noun of `payloads`, or what is wrong with it: whoever may publish may send anything.

A message is used whole or not at all. Keys that are not known are left alone (they may be added, see `payloads`); a
key that is missing, or holds what it should not, is a flaw that names it. Hundreds of benches tell of twenty units each
once a second, so what is to be done with each kind of value is worked out once, and a path is only put together for a
flaw.
"""

import json
import math
import types
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, Literal, NoReturn, TypeVar, Union, get_args, get_origin, get_type_hints

from benchctl.mqtt.payloads import SCHEMA, Head

LARGEST_BYTES = 4 << 20  # a snapshot of a thousand units is less than one
LONGEST = 2000  # characters of a text
LARGEST = 1 << 63

N = TypeVar("N", bound=Head)
Take = Callable[[Any], Any]  # a value of JSON in, a value of the noun out; raises Flaw


class Flaw(Exception):  # noqa: N818 - the house calls what is wrong so
    """A message is not used. str() says why, in a line that names the key; what was found is cut short in it."""

    def __init__(self, says: str, path: str = "") -> None:
        super().__init__(says, path)
        self.says, self.path = says, path

    def __str__(self) -> str:
        return f"{self.path} {self.says}" if self.path else self.says

    def under(self, key: str) -> "Flaw":
        """The same, a level further out."""
        joint = "" if not self.path or self.path.startswith("[") else "."
        return Flaw(self.says, f"{key}{joint}{self.path}")


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
        raise Flaw(f"is {_short(found.get('schema'))}, expected {SCHEMA}; is it of another version?", "schema")
    noun: N = _taker(kind)(found)  # type: ignore[arg-type]  # a class can be hashed
    return noun


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number; expected null")


@cache
def _taker(wanted: Any) -> Take:
    """What makes a value of this kind."""
    origin, args = get_origin(wanted), get_args(wanted)
    if origin in (Union, types.UnionType):
        (kind,) = (arg for arg in args if arg is not type(None))
        return _or_null(_taker(kind))
    if origin is Literal:
        return _one_of(args)
    if origin is tuple:
        return _list_of(_taker(args[0])) if args[-1] is Ellipsis else _row_of([_taker(arg) for arg in args])
    if origin is dict:
        return _object
    if is_dataclass(wanted) and isinstance(wanted, type):
        hints = get_type_hints(wanted)
        return _noun_of(wanted, [(field.name, _taker(hints[field.name])) for field in fields(wanted)])
    return PLAIN[wanted]


def _noun_of(kind: type[Any], rows: list[tuple[str, Take]]) -> Take:
    def take(found: Any) -> Any:
        if type(found) is not dict:
            _unfit(found, "an object")
        values, name = {}, ""
        try:
            for name, taker in rows:
                values[name] = taker(found[name])
        except KeyError:
            raise Flaw("is missing", name) from None
        except Flaw as flaw:
            raise flaw.under(name) from None
        return kind(**values)

    return take


def _or_null(taker: Take) -> Take:
    return lambda found: None if found is None else taker(found)


def _one_of(words: tuple[Any, ...]) -> Take:
    def take(found: Any) -> Any:
        return found if isinstance(found, str) and found in words else _unfit(found, " or ".join(words))

    return take


def _list_of(taker: Take) -> Take:
    def take(found: Any) -> Any:
        if type(found) is not list:
            _unfit(found, "a list")
        taken: list[Any] = []
        try:
            for one in found:
                taken.append(taker(one))  # noqa: PERF401 - its length says where a flaw is
        except Flaw as flaw:
            raise flaw.under(f"[{len(taken)}]") from None
        return tuple(taken)

    return take


def _row_of(takers: list[Take]) -> Take:
    def take(found: Any) -> Any:
        if type(found) is not list:
            _unfit(found, "a list")
        if len(found) != len(takers):
            raise Flaw(f"has {len(found)} values, expected {len(takers)}")
        return tuple(taker(one) for taker, one in zip(takers, found, strict=True))

    return take


def _object(found: Any) -> Any:
    return found if type(found) is dict else _unfit(found, "an object")


def _flag(found: Any) -> Any:
    return found if found is True or found is False else _unfit(found, "true or false")


def _text(found: Any) -> Any:
    if type(found) is str and len(found) <= LONGEST:
        return found
    return _unfit(found, f"a text of at most {LONGEST} characters")


def _whole(found: Any) -> Any:
    return found if type(found) is int and -LARGEST < found < LARGEST else _unfit(found, "a whole number")


def _number(found: Any) -> Any:
    if type(found) is float and math.isfinite(found):
        return found
    return float(found) if type(found) is int and -LARGEST < found < LARGEST else _unfit(found, "a number")


PLAIN: dict[Any, Take] = {bool: _flag, str: _text, int: _whole, float: _number, Any: lambda found: found}


def _unfit(found: Any, expected: str) -> NoReturn:
    raise Flaw(f"is {_short(found)}, expected {expected}")


def _short(found: Any) -> str:
    """What was found, in a word or two."""
    if found is None:
        return "null"
    if isinstance(found, (dict, list)):
        return "an object" if isinstance(found, dict) else "a list"
    if isinstance(found, int) and not isinstance(found, bool) and abs(found) >= LARGEST:
        return "a very large number"
    text = json.dumps(found)
    return text if len(text) <= 40 else text[:40] + "…"
