"""Copies of nouns that may be worked on: every scan begins with one of the whole state."""

from collections.abc import Callable
from dataclasses import fields
from typing import Any, TypeVar

T = TypeVar("T")


def copier(noun: type[T]) -> Callable[[T], T]:
    """A function that copies an object of that dataclass, field by field; the values of the fields are shared.

    Its text is written out as `dataclass` writes out `__init__`, whose call with forty values would cost twice as much.
    """
    names = [f.name for f in fields(noun)]  # type: ignore[arg-type]
    lines = ["def copy(old):", " new = make(noun)", *(f" new.{name} = old.{name}" for name in names), " return new"]
    made: dict[str, Any] = {"noun": noun, "make": noun.__new__}
    exec("\n".join(lines), made)  # noqa: S102 - the names of our own fields, nothing from outside
    return made["copy"]  # type: ignore[no-any-return]
