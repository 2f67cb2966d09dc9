"""What a terminal that follows a run is told, as lines."""

import re
import shutil
import sys
import textwrap
import time

from benchctl.cli.status import kw
from benchctl.core.shown import LegShown, Snapshot

INDENT = " " * 29  # of the words of an event, after its time and kind
TOGETHER = re.compile(r"(?<=\d) (?=[A-Za-z%°])| (?=left\b)")  # a figure and its unit stay on one line
JOINT = "\u00a0"
CHECK_IN = "press Enter to check in"

# What of a person is asked by an event, and how it is given. A terminal rings for these.
ASKED = {"check-in": CHECK_IN, "prompt": "type yes or no"}


def state_line(now: Snapshot, *, asks: bool = True, absent: bool = False) -> str:
    """What goes on, for whenever nothing has happened for a while. absent: a sign of a person is asked for."""
    figures = [] if now.mode == "checks" else [f"target {now.target_kw:.0f} kW"]  # a check load is no target
    figures.append(f"delivered {kw(now.delivered_kw)}")
    if now.mode == "cooling down" and now.off is True:
        figures = ["all load is off"]
    if now.source.power_kw is not None:
        figures.append(f"source {kw(now.source.power_kw)}")
    if now.mode == "cooling down":
        figures.append(f"cool-down {now.cool_down_s:.0f} s")
        if now.source_cool_down_s > now.cool_down_s:
            figures.append(f"the set runs on for {now.source_cool_down_s:.0f} s")
    told = [", ".join(figures)]
    if now.mode == "running" and now.leg is not None:
        told.append(leg_words(now.leg, waits=now.waiting or bool(now.held) or now.paused))
    if now.paused or now.held:
        told.append("paused" if now.paused else f"HELD: {now.held}")
    if now.prompt is not None:
        told.append(f"QUESTION: {now.prompt.text} (yes or no, {now.prompt.remaining_s:.0f} s)")
    if absent and asks:
        told.append(f"IS SOMEBODY THERE? {CHECK_IN}")
    return "; ".join(told)


def reading_due(before: Snapshot | None, now: Snapshot) -> tuple[str, str]:
    """What is said when a reading falls due, or the next one while one is still owed, and what to type; else empty."""
    due_s, was_s = now.reading_due_s, None if before is None else before.reading_due_s
    if due_s is None or due_s > 0.0 or (was_s is not None and was_s <= 0.0 and due_s <= was_s):
        return "", ""
    return f"reading {now.reading_number} is due", f"type reading {'; '.join(f'{name}=…' for name in now.readings)}"


def steady(now: Snapshot, *, absent: bool = False) -> bool:
    """Whether nothing moves and nobody is asked for anything: then the state is told more seldom."""
    holds = now.mode == "cooling down" or (now.leg is not None and now.leg.kind == "hold" and now.mode == "running")
    return holds and now.prompt is None and not (absent or now.held or now.paused or now.waiting)


def leg_words(leg: LegShown, *, waits: bool) -> str:
    """Where the program is."""
    words = f"segment {leg.segment}, {leg.label or leg.kind}"
    return words if waits or leg.to_go_s is None else f"{words}, {long(leg.to_go_s)} left"


def long(time_s: float) -> str:
    """A time in words."""
    return f"{time_s:.0f} s" if time_s < 120.0 else f"{time_s / 60.0:.0f} min"


def in_terminal() -> bool:
    """Whether a person may be looking at what is narrated."""
    return sys.stderr is not None and sys.stderr.isatty()


def ring() -> None:
    """Ring, where somebody may hear it."""
    if in_terminal():
        sys.stderr.write("\a")
        sys.stderr.flush()


def wrapped(line: str) -> list[str]:
    """A line in the width of the terminal; as it is where there is none, for whoever searches it."""
    if not in_terminal():
        return [line]
    width = shutil.get_terminal_size().columns
    kept = TOGETHER.sub(JOINT, line)
    parts = textwrap.wrap(kept, width, subsequent_indent=INDENT, break_on_hyphens=False)
    return [part.replace(JOINT, " ") for part in parts] or [line]


def clock(wall_s: float) -> str:
    """Time of day of an event."""
    return time.strftime("%H:%M:%S", time.localtime(wall_s))
