"""What is wrong with a message, in words for people."""

from pydantic import ValidationError


def short(text: str) -> str:
    """As much of a text as a line has room for."""
    return text if len(text) <= 60 else text[:60] + "…"


def printable(text: str) -> str:
    """A stranger's words for a terminal."""
    return "".join(c if c.isprintable() else "?" for c in text[:300])


def flaws(fault: ValueError) -> list[str]:
    """What is wrong with a message, each key in words; the first few of many. Takes a ValidationError."""
    if not isinstance(fault, ValidationError):
        return [str(fault)]
    told = []
    for error in fault.errors(include_url=False)[:5]:
        key = ".".join(str(part) for part in error["loc"])
        match error["type"]:
            case "missing":
                told.append(f"key {key!r} is missing")
            case "extra_forbidden":
                told.append(f"unknown key {short(key)!r}")
            case _:
                says = error["msg"].removeprefix("Value error, ").lower()
                told.append(f"{key}: {says}, found {short(repr(error['input']))}")
    return told
