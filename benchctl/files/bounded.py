"""JSON and zlib from files that anybody may have written: what goes too deep or grows too large is a ValueError."""

import json
import zlib
from typing import Any

LARGEST_NOUN = 16 << 20  # bytes; the settings of a chain of a hundred units have less than one MiB


def from_json(text: str | bytes) -> Any:
    """The value of a JSON text. Raises ValueError, also where it is nested deeper than can be read."""
    try:
        return json.loads(text)
    except RecursionError:
        raise ValueError("nested too deep") from None


def inflated(data: bytes) -> bytes:
    """What a zlib stream holds. Raises zlib.error, and ValueError where it is larger than 16 MiB."""
    stream = zlib.decompressobj()
    found = stream.decompress(data, LARGEST_NOUN)
    if stream.unconsumed_tail:
        raise ValueError(f"a stream of more than {LARGEST_NOUN >> 20} MiB")
    if not stream.eof:
        raise zlib.error("incomplete or truncated stream")
    return found
