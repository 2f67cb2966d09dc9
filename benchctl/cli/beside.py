"""Runs set beside each other as a table: figures down, runs across, the drift from the first to the last."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.report.compared import Compared

MOST = 6  # runs across; --json has all
NAME = 38


def tell(runs: "Sequence[Compared]", voice: Voice) -> None:
    """The table, and one JSON object a run."""
    for one in runs:
        figures = {f"{f.name} [{f.unit}]" if f.unit else f.name: f.value for f in one.figures}
        about = {name: getattr(one, name) for name in type(one).__slots__ if name != "figures"}
        voice.row({**about, "figures": figures})
    if len(runs) > MOST:
        voice.narrate(f"the first and the last {MOST - 1} of {len(runs)} runs are shown; --json has all")
        runs = [runs[0], *runs[1 - MOST :]]
    for head, name in (("began", "began"), ("program", "program"), ("outcome", "outcome"), ("kind", "kind")):
        voice.text(f"{head:<{NAME}}" + "".join(f"{_cut(getattr(one, name)):>18}" for one in runs))
    rows: dict[tuple[str, str], None] = {}
    for one in runs:
        rows.update(dict.fromkeys((f.name, f.unit) for f in one.figures))
    voice.text(f"{'':<{NAME}}" + " " * 18 * len(runs) + f"{'last − first':>16}")
    for name, unit in rows:
        values = [next((f.value for f in one.figures if (f.name, f.unit) == (name, unit)), None) for one in runs]
        said = "".join(f"{_number(value):>18}" for value in values)
        first, last = values[0], values[-1]
        drift = "" if first is None or last is None else f"{last - first:+.2f}"
        voice.text(f"{_cut(f'{name}, {unit}' if unit else name, NAME):<{NAME}}{said}{drift:>16}")


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}"


def _cut(text: str, width: int = 17) -> str:
    text = text[:16].replace("T", " ") if text[4:5] == "-" and text[10:11] == "T" else text
    return text if len(text) < width else text[: width - 2] + "…"
