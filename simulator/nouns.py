"""Frozen nouns made by the million."""

from collections.abc import Callable
from dataclasses import fields, make_dataclass
from typing import Any, TypeVar

T = TypeVar("T")


def maker(noun: type[T]) -> Callable[..., T]:
    """A constructor of that frozen dataclass that takes the value of every field, in their order.

    A frozen dataclass sets each field through `object.__setattr__`, which costs as much as all the rest of a reading.
    This fills a twin that is not frozen, and then makes it one of the noun.
    """
    slots = "__slots__" in vars(noun)
    twin = make_dataclass(f"{noun.__name__}Twin", [(f.name, Any) for f in fields(noun)], slots=slots)  # type: ignore[arg-type]

    def make(*values: object) -> T:
        made: Any = twin(*values)
        made.__class__ = noun
        return made  # type: ignore[no-any-return]

    return make
