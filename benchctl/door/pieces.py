"""A long answer as a line, made piece by piece, so that neither the other clients nor the engine wait for it.

Making a line of megabytes is one call into C, during which no other thread of Python runs.
"""

import asyncio
from typing import Any

from pydantic_core import PydanticSerializationError, to_json

from benchctl.door import messages as m

PIECE = 250  # values of a list that are made at once


async def answer_line(answer: m.Accepted) -> bytes:
    """The line that `messages.encode` makes of an answer."""
    if all(_short(value) for value in answer.data.values()):
        return m.encode(answer)
    keys: list[bytes] = []
    try:
        for key, value in answer.data.items():
            keys.append(_json(key) + b":" + await _value(value))
    except PydanticSerializationError:
        return m.encode(answer)
    return b'{"kind":"accepted","id":%d,"data":{%b}}\n' % (answer.id, b",".join(keys))


def _short(value: Any) -> bool:
    return not isinstance(value, list | tuple) or len(value) <= PIECE


async def _value(value: Any) -> bytes:
    if _short(value):
        return _json(value)
    made: list[bytes] = []
    for start in range(0, len(value), PIECE):
        made.append(_json(value[start : start + PIECE])[1:-1])
        await asyncio.sleep(0)
    return b"[%b]" % b",".join(made)


def _json(value: Any) -> bytes:
    return to_json(value, inf_nan_mode="null")
