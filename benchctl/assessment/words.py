"""How times and figures are written in a verdict."""

import math


def clock(seconds: float) -> str:
    """h:mm:ss since the run's begin, tenths only where there are some."""
    if not math.isfinite(seconds):
        return "the end"
    tenths = round(seconds * 10)
    whole, tenth = divmod(abs(tenths), 10)
    text = f"{'-' if tenths < 0 else ''}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return f"{text}.{tenth}" if tenth else text


def length(seconds: float) -> str:
    """A time as a person says it; never rounded up: 1799.96 s are not 30 min."""
    if not math.isfinite(seconds):
        return "no end known"
    tenths = math.floor(seconds * 10 + 1e-6)
    hours, minutes, rest = tenths // 36000, tenths // 600 % 60, tenths % 600
    parts = [f"{hours} h"] if hours else []
    parts += [f"{minutes} min"] if minutes else []
    parts += [f"{rest / 10:g} s"] if rest or not parts else []
    return " ".join(parts)


def percent(value: float) -> str:
    """Two decimals at most."""
    return f"{round(value, 2) + 0.0:g} %"  # + 0.0: nothing is never -0


def apart(value: float, limit: float | None, decimals: int) -> str:
    """A figure with so many decimals, and more where it would else read like the limit that it misses or keeps."""
    while limit is not None and value != limit and decimals < 9 and round(value, decimals) == round(limit, decimals):
        decimals += 1
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
