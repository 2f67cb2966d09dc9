"""Where two nouns differ, in lines for people."""

import dataclasses
from collections.abc import Iterator
from enum import Enum
from typing import Any


def differences(recorded: Any, now: Any, path: str = "") -> Iterator[str]:
    """One line for each value that differs: its path, what was recorded, what it is now."""
    if type(recorded) is type(now) and dataclasses.is_dataclass(recorded):
        for field in dataclasses.fields(recorded):
            name = f"{path}.{field.name}" if path else field.name
            yield from differences(getattr(recorded, field.name), getattr(now, field.name), name)
    elif isinstance(recorded, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*recorded, *now]):
            yield from differences(recorded.get(key), now.get(key), f"{path}[{_told(key)}]")
    elif isinstance(recorded, tuple) and isinstance(now, tuple) and len(recorded) == len(now):
        for index, (one, other) in enumerate(zip(recorded, now, strict=True)):
            yield from differences(one, other, f"{path}[{index}]")
    elif recorded != now or type(recorded) is not type(now):
        yield f"{path or 'value'}: recorded {_told(recorded)}, now {_told(now)}"


def _told(value: Any) -> str:
    text = str(value.value) if isinstance(value, Enum) else repr(value)
    return text if len(text) <= 100 else f"{text[:99]}…"
