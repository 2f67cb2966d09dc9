"""Verdicts with their working, and the limits with their sources and marks."""

from dataclasses import fields

from benchctl.assessment.verdict import Input, Judgement, Verdict, Working
from benchctl.core.ruleset import Known, Origin
from benchctl.report.dossier import Dossier
from benchctl.report.measures import MISSING, clock, short
from benchctl.report.parts import Block, Bullets, Column, Judged, Para, Section, Sum, Table
from benchctl.report.sections.front import outcome
from benchctl.report.sources import named
from benchctl.report.words import ENGLISH, say

CERTAIN = (Known.READ, Known.COMPUTED)
MOST_INPUTS = 24


def proof(dossier: Dossier) -> tuple[Section, ...]:
    """A section a rule set; none where none was judged."""
    sections = []
    for i, judgement in enumerate(dossier.judgements):
        lead: list[Block] = [Para(_head(judgement), "lead")]
        if i == 0:
            lead.append(Para(say("proof note"), "note"))
        lead += [Bullets(judgement.notes, "note")] if judgement.notes else []
        judged = [_judged(dossier, v) for v in judgement.verdicts]
        title = f"{say('proof')}: {judgement.title}" if len(dossier.judgements) > 1 else say("proof")
        sections.append(Section(title, (*lead, *judged)))
    return tuple(sections)


def _head(j: Judgement) -> str:
    return f"{j.title}. " + say("judged text", document=j.document, edition=j.edition, outcome=outcome(j.outcome))


def _judged(dossier: Dossier, v: Verdict) -> Judged:
    sums = tuple(_sum(dossier, w) for w in v.working)
    return Judged(v.criterion, outcome(v.outcome), v.why, source(v.origin), _times(dossier, v), sums)


def source(origin: Origin) -> str:
    """Clause, mark, where from."""
    parts = [say("clause", clause=origin.clause)] if origin.clause else []
    parts.append(origin.known.value)
    parts += [text for text in (origin.source, origin.note) if text]
    return "; ".join(parts)


def _times(dossier: Dossier, v: Verdict) -> str:
    if v.from_s is None:
        return ""
    begin = {"begin": clock(v.from_s), "begin_clock": dossier.time(v.from_s)}
    if v.to_s is None or v.to_s == v.from_s:
        return say("between one", **begin)
    return say("between", end=clock(v.to_s), end_clock=dossier.time(v.to_s), **begin)


def _sum(dossier: Dossier, w: Working) -> Sum:
    value = f"{short(w.value)} {w.unit}".strip()
    if w.low is not None and w.high is None:
        value += " " + say("at the least")
    elif w.low is not None and w.low != w.high:
        value += " " + say("bounds", low=short(w.low), high=short(w.high))
    inputs = [input_text(i) for i in w.inputs[:MOST_INPUTS]]
    if len(w.inputs) > MOST_INPUTS:
        inputs.append(say("more inputs", count=len(w.inputs) - MOST_INPUTS))
    return Sum(w.name, value, w.formula, "; ".join(inputs), w.note)


def input_text(i: Input) -> str:
    """One value that went into a sum, with the time of its sample."""
    value = short(i.value) if isinstance(i.value, float) else say("not known") if i.value is None else str(i.value)
    if i.at_s is None:
        return say("input", name=i.name, value=value, unit=i.unit).strip()
    return say("input at", name=i.name, value=value, unit=i.unit, at=clock(i.at_s)).replace("  ", " ")


def limits(dossier: Dossier) -> Section:
    """Every limit that a verdict used, then the site's own."""
    rows = [
        (j.title if i == 0 else "", v.criterion, v.origin.clause or MISSING, _mark(v.origin))
        for j in dossier.judgements
        for i, v in enumerate(j.verdicts)
    ]
    blocks: list[Block] = []
    if rows:
        columns = (
            Column(say("rule set"), share=1.0),
            Column(say("limit"), share=2.0),
            Column(say("origin")),
            Column(say("mark"), share=1.0),
        )
        blocks.append(Table(columns, tuple(rows)))
        shaky = [v for j in dossier.judgements for v in j.verdicts if v.origin.known not in CERTAIN]
        if shaky:
            blocks.append(Para(say("uncertain", count=len(shaky), total=len(rows)), "strong"))
    return Section(say("limits"), (*blocks, *_site(dossier), *_texts(dossier)))


def _mark(origin: Origin) -> str:
    mark = origin.known.value
    return say("marked", mark=mark, source=origin.source) if origin.source else mark


def _texts(dossier: Dossier) -> tuple[Block, ...]:
    """What the marks of this report stand for."""
    of_rules = [f"{v.origin.source} {v.origin.note}" for j in dossier.judgements for v in j.verdicts]
    notes = [note for j in dossier.judgements for note in j.notes]
    of_site = [str(f.metadata.get("mark", "")) for f in fields(dossier.run.site.limits)]
    columns = (Column(say("mark")), Column(say("text"), share=3.0), Column(say("how read"), share=1.0))
    rows = named((*of_rules, *notes, *of_site))
    return (Table(columns, rows, say("texts")),) if rows else ()


MARKS = {"CPNS": Known.PRACTICE.value, "memory": Known.MEMORY.value}


def _site(dossier: Dossier) -> tuple[Block, ...]:
    of = dossier.run.site.limits
    columns = (
        Column(say("limit"), share=1.0),
        Column(say("value"), "right"),
        Column(say("reason"), share=1.6),
        Column(say("mark"), share=1.0),
    )
    rows = tuple(
        (
            say(f"limit {f.name}"),
            f"{short(getattr(of, f.name))} {f.metadata['unit']}",
            f.metadata["reason"],
            MARKS.get(f.metadata["mark"], say("text marked", mark=f.metadata["mark"])),
        )
        for f in fields(of)
        if f"limit {f.name}" in ENGLISH
    )
    return Table(columns, rows, say("site limits")), Para(say("site limits note"), "note")
