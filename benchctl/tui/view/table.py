"""The plan as a table: a row a leg, with when, how long, what is asked and what the stages give for it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from benchctl.tui.view.picture import Picture
from benchctl.tui.view.text import Line, Mark, Span, fit, minutes, number

Leg = Mapping[str, Any]
Cell = Callable[[Leg, int], str]


@dataclass(frozen=True, slots=True)
class Column:
    """least: the width of the window from which on it is shown; width 0 = the rest."""

    head: str
    width: int
    cell: Cell
    right: bool = True
    least: int = 0


def what(leg: Leg) -> str:
    """What a leg is: its kind, and its label or its question if it has one."""
    kind = "step" if leg["kind"] == "ramp" and leg["length_s"] == 0.0 else str(leg["kind"])
    named = leg["label"] or leg["prompt"]
    return f"{kind}: {named}" if named else kind


def ahead(leg: Leg) -> str:
    """A leg that is to come, in a phrase; its kW as the program counts them, like those of the leg that runs."""
    kind, length = str(leg["kind"]), minutes(leg["length_s"])
    to = f"to {leg['target_kw']:.0f} kW"
    says = {
        "ramp": f"ramp {to} over {length}" if leg["length_s"] else f"step {to}",
        "hold": f"hold {leg['target_kw']:.0f} kW for {length}",
        "block": f"{'block load' if leg['asked_kw'] >= leg['from_kw'] else 'load rejection'} {to}",
        "drop": "everything off at once",
        "wait": f"a question: {leg['prompt']}",
        "loss of supply": "the supply is taken away",
    }.get(kind, f"{kind} {to}")
    return f"{says} ({leg['label']})" if leg["label"] else says


def _figure(name: str, decimals: int = 1) -> Cell:
    return lambda leg, wide: number(leg.get(name), wide, decimals)


def _length(leg: Leg, wide: int) -> str:
    """With < where only the longest is known."""
    if leg["wait_s"]:
        return fit(f"<{minutes(leg['wait_s'])}", wide, right=True)
    return fit(minutes(leg["length_s"]), wide, right=True)


def _side(leg: Leg, wide: int) -> str:
    if leg["short"]:
        return fit("SHORT", wide)
    return fit(str(leg["side"]), wide)


def _amps(leg: Leg, wide: int) -> str:
    """Of the fullest phase."""
    return number(max(leg["amps"], default=None), wide, 0)


def _phase(phase: int) -> Cell:
    return lambda leg, wide: number(leg["amps"][phase] if phase < len(leg["amps"]) else None, wide, 0)


COLUMNS: tuple[Column, ...] = (
    Column("seg", 3, lambda leg, wide: fit(str(leg["segment"]), wide, right=True)),
    Column("what", 0, lambda leg, wide: fit(what(leg), wide), right=False),
    Column("start", 8, lambda leg, wide: fit(minutes(leg["start_s"]), wide, right=True)),
    Column("length", 8, _length),
    Column("from kW", 7, _figure("from_kw"), least=110),
    Column("asked kW", 8, _figure("asked_kw")),
    Column("given kW", 8, _figure("given_kw")),
    Column("side", 5, _side, right=False),
    Column("source kW", 9, _figure("source_kw")),
    Column("amps", 5, _amps),
    Column("A", 5, _phase(0), least=130),
    Column("B", 5, _phase(1), least=130),
    Column("C", 5, _phase(2), least=130),
)
WIDEST = 36  # cells of a column that takes the rest
LEAD = 3  # cells before the columns: the leg in hand, and whether there is a finding


def _columns(width: int) -> list[tuple[Column, int]]:
    shown = [c for c in COLUMNS if c.least <= width]
    rest = width - LEAD - sum(c.width + 1 for c in shown)
    return [(c, c.width or max(4, min(WIDEST, rest))) for c in shown]


def head(width: int) -> Line:
    """The names of the columns."""
    spans: list[Span] = [(" " * LEAD, Mark.QUIET)]
    spans += [(fit(c.head, wide, right=c.right) + " ", Mark.QUIET) for c, wide in _columns(width)]
    return tuple(spans)


def row(picture: Picture, leg: Leg, width: int, *, current: int | None) -> Line:
    """One leg. current: the index of the leg in hand; what is over is quiet."""
    index = int(leg["number"]) - 1
    now = index == current
    shape = _finding(picture, index + 1)
    mark = Mark.CURSOR if now else Mark.QUIET if current is not None and index < current else Mark.PLAIN
    lead = ">" if now else " "
    flaw = (f"{shape[0]} ", shape[1]) if shape else ("  ", mark)
    text = "".join(c.cell(leg, wide) + " " for c, wide in _columns(width))
    return ((lead, mark), flaw, (text, Mark.ABNORMAL if leg["short"] and not now else mark))


def _finding(picture: Picture, number: int) -> tuple[str, Mark] | None:
    found = {f["severity"] for f in (picture.plan or {}).get("findings", ()) if f.get("leg") == number}
    if "refusal" in found:
        return ("X" if picture.glyphs == "ascii" else "×"), Mark.FAULTY
    return (("!" if picture.glyphs == "ascii" else "▲"), Mark.ABNORMAL) if found else None
