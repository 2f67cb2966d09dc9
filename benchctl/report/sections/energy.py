"""Energy, average load and fuel: each figure with the sum that gives it, as assessment has worked it out."""

from benchctl.assessment.verdict import Working
from benchctl.report.dossier import Dossier
from benchctl.report.measures import NBSP, number, short
from benchctl.report.parts import Column, Para, Section, Table
from benchctl.report.sections.proof import input_text
from benchctl.report.words import say

DECIMALS = 1


def energy(dossier: Dossier) -> Section:
    """The section."""
    if not dossier.figures:
        return Section(say("energy"), (Para(say("no energy")),))
    columns = (Column(say("figure"), share=1.0), Column(say("value"), "right"), Column(say("working"), share=3.0))
    rows = tuple((w.name, value(dossier, w), _working(dossier, w)) for w in dossier.figures)
    return Section(say("energy"), (Table(columns, rows),))


def value(dossier: Dossier, w: Working) -> str:
    """The figure in the told units, with its bounds where there are some."""
    said = _in(dossier, w.value, w.unit)
    if w.low is not None or w.high is not None:
        said += " " + say("bounds", low=_in(dossier, w.low, w.unit), high=_in(dossier, w.high, w.unit))
    return said


def _in(dossier: Dossier, figure: float | None, unit: str) -> str:
    if dossier.measures.scale(unit).unit != unit:
        return dossier.measures.say(figure, unit, DECIMALS)
    told = number(figure, DECIMALS) if figure is not None and abs(figure) >= 1.0 else short(figure, 3)
    return f"{told}{NBSP}{unit}" if unit else told


def _working(dossier: Dossier, w: Working) -> str:
    inputs = "; ".join(input_text(i) for i in w.inputs)
    return ". ".join(text for text in (w.formula, inputs, w.note) if text)
