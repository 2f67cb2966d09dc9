"""What is typed into fields, as values. Each raises ValueError with what was found and what was expected."""

import math
from collections.abc import Callable

DAY_S = 86400.0
UNITS_S = {"s": 1.0, "sec": 1.0, "min": 60.0, "m": 60.0, "h": 3600.0}


def figure(text: str) -> float:
    """A number with a point or a comma."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise ValueError(f"found {text!r}, expected a number") from None
    if not math.isfinite(value):
        raise ValueError(f"found {text!r}, expected a number")
    return value


def load_kw(text: str) -> float:
    """A load: 300, 300 kW, 0.3 MW."""
    words = text.lower().strip().removesuffix("kw").strip()
    factor = 1.0
    if words.endswith("mw"):
        words, factor = words.removesuffix("mw").strip(), 1000.0
    try:
        value = figure(words) * factor
    except ValueError:
        raise ValueError(f"found {text!r}, expected kW such as 120") from None
    if not 0.0 <= value < math.inf:
        raise ValueError(f"found {text!r}, expected 0 kW or more")
    return value


def time_s(text: str, bare: str = "") -> float:
    """A time: 90 s, 5 min, 1 h, 2:30 (minutes, seconds). bare: the unit of a number without one, or it needs one."""
    words = text.lower().strip()
    minutes, colon, seconds = words.partition(":")
    if colon and minutes.isdigit() and len(seconds) == 2 and seconds.isdigit() and int(seconds) < 60:
        return _some_s(int(minutes) * 60.0 + int(seconds), text)
    number = words.rstrip("abcdefghijklmnopqrstuvwxyz").strip()
    unit = words[len(number) :].strip() or bare
    if unit not in UNITS_S:
        raise ValueError(f"found {text!r}, expected a time such as 90 s or 5 min")
    try:
        return _some_s(figure(number) * UNITS_S[unit], text)
    except ValueError:
        raise ValueError(f"found {text!r}, expected a time such as 90 s or 5 min, up to a day") from None


def _some_s(value: float, text: str) -> float:
    if not 0.0 < value <= DAY_S:
        raise ValueError(f"found {text!r}, expected more than nothing, up to a day")
    return value


def flaw(of: Callable[[str], object]) -> Callable[[str], str]:
    """A field's check: what is wrong with a text, or nothing."""

    def check(text: str) -> str:
        try:
            of(text)
        except ValueError as fault:
            return str(fault)
        return ""

    return check


def needed(what: str) -> Callable[[str], str]:
    """A field's check: it must not be empty."""
    return lambda text: "" if text.strip() else what
