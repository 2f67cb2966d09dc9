"""What the values of messages may be: the same for every message, whichever side sends it."""

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field

LARGEST = 2**53 - 1  # every JSON reader keeps whole numbers up to here
# A message is made ready when the first of its kind comes: a screen shows itself before it hears anything.
CONFIG = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)


def _plain(text: str) -> str:
    if not text.isprintable():
        raise ValueError("has characters that cannot be printed on one line")
    return text


def _clean(text: object) -> object:
    """What a file's name on disk may hold, and no JSON text."""
    return text.encode("utf-8", "replace").decode() if isinstance(text, str) else text


Whole = Annotated[int, Field(ge=0, le=LARGEST)]
Name = Annotated[str, Field(min_length=1, max_length=100), AfterValidator(_plain)]
Line = Annotated[str, Field(max_length=1000), AfterValidator(_plain)]
Told = Annotated[str, BeforeValidator(_clean)]
Token = Annotated[str, Field(min_length=16, max_length=200, pattern=r"^[A-Za-z0-9_-]+$")]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
