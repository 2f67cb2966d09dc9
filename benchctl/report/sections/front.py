"""Page 1: what was tested, where, when, by whom, with what; the verdicts; what is missing or expired."""

from benchctl.assessment.verdict import Judgement, Outcome
from benchctl.report.dossier import Dossier
from benchctl.report.measures import clock, short
from benchctl.report.parts import Block, Bullets, Column, Pairs, Para, Section, Table
from benchctl.report.sections.closing import in_groups
from benchctl.report.sections.missing import missing
from benchctl.report.words import say

MOST_TOLD = 16  # rules by name on page 1, of each outcome
SIGNS = {Outcome.SHOWN: "■", Outcome.NOT_MET: "▲", Outcome.NOT_DEMONSTRATED: "◇"}


def outcome(found: Outcome) -> str:
    """Sign and word: shape tells what colour would."""
    return f"{SIGNS[found]} {found.value}"


def banner(dossier: Dossier) -> str:
    """What must be known before anything else."""
    run = dossier.run
    said = []
    if run.altered:
        said.append(say("banner altered"))
    if run.rehearsal:
        said.append(say("banner rehearsal"))
    if run.condition != "closed":
        said.append(say("banner open", condition=run.condition))
    return " ".join(said)


def front(dossier: Dossier) -> tuple[Section, ...]:
    """The sections of page 1."""
    return (
        Section(say("summary"), (Pairs(_summary(dossier)),)),
        Section(say("verdicts"), _verdicts(dossier.judgements)),
        Section(say("missing"), _missing(dossier)),
    )


def _summary(dossier: Dossier) -> tuple[tuple[str, str], ...]:
    run, site = dossier.run, dossier.run.site
    program = run.program
    end = dossier.at(dossier.length_s)
    offset = dossier.begun.strftime("%z")
    when = say(
        "when text",
        begin=dossier.begun.strftime("%Y-%m-%d %H:%M:%S"),
        end=end.strftime("%H:%M:%S" if end.date() == dossier.begun.date() else "%Y-%m-%d %H:%M:%S"),
        length=clock(round(dossier.length_s)),
        offset=f"{offset[:3]}:{offset[3:5]}",
    )
    return (
        (say("tested"), source_text(dossier)),
        (say("where"), site.title or site.name),
        (say("when"), when),
        (say("by whom"), ", ".join(people(dossier)) or say("nobody")),
        (say("procedure"), (program.title or program.name) if program else say("by hand")),
        (say("with units"), _units_text(dossier)),
        (say("with instruments"), _instruments_text(dossier)),
        (say("ended"), run.outcome or run.condition),
        (say("record"), say("record line", file=f"{run.name}.run", hash=in_groups(run.sha256))),
    )


def source_text(dossier: Dossier) -> str:
    """The source in a line."""
    plate = dossier.run.site.nameplate
    return say(
        "source text",
        name=plate.name,
        kind=plate.kind,
        kw=short(plate.power_kw),
        kva=short(plate.apparent_kva),
        pf=short(plate.power_factor),
        volts=short(plate.volts),
        hertz=short(plate.hertz),
        cls=f", {plate.rating_class}" if plate.rating_class else "",
        derated=say("derated", kw=short(plate.derated_kw)) if plate.derated_kw else "",
        serial=say("serial", serial=plate.serial) if plate.serial else say("no serial"),
    )


def people(dossier: Dossier) -> list[str]:
    """Everybody who did something in the run, in the order of their first act."""
    named = [*(event.who for event in dossier.run.events), *(noted.who for noted in dossier.trail.noted)]
    return list(dict.fromkeys(who for who in named if who and who != "nobody"))


def _units_text(dossier: Dossier) -> str:
    units = dossier.run.site.units
    count = say("one unit") if len(units) == 1 else say("many units", count=len(units))
    return say("units text", count=count, rated=short(dossier.run.site.rated_kw))


def _instruments_text(dossier: Dossier) -> str:
    told = []
    for i in dossier.run.site.instruments:
        more = [say("class of", class_=i.accuracy_class)] if i.accuracy_class else []
        more += [say("number of", serial=i.serial)] if i.serial else []
        more += [say("due on", due=i.calibration_due)] if i.calibration_due else []
        told.append(i.name + (f" ({', '.join(more)})" if more else ""))
    return "; ".join(told) or say("no instruments")


def _verdicts(judgements: tuple[Judgement, ...]) -> tuple[Block, ...]:
    if not judgements:
        return (Para(say("no verdicts")),)
    columns = (
        Column(say("rule set"), share=1.5),
        Column(say("edition"), share=1.1),
        Column(say("verdict"), strong=True),
        Column(say("decided by"), share=2.0),
    )
    return (Table(columns, tuple(_row(j) for j in judgements)), *_short_of(judgements))


def _short_of(judgements: tuple[Judgement, ...]) -> tuple[Block, ...]:
    """What was not met and what was not demonstrated, by name: nobody has to look for it on the pages behind."""
    told = []
    for found in (Outcome.NOT_MET, Outcome.NOT_DEMONSTRATED):
        for j in judgements:
            texts = [v.criterion for v in j.verdicts if v.outcome is found]
            if texts:
                more = [say("and more", count=len(texts) - MOST_TOLD)] if len(texts) > MOST_TOLD else []
                of = f"{j.title}: " if len(judgements) > 1 else ""
                told.append(say("short of", outcome=outcome(found), of=of, what="; ".join([*texts[:MOST_TOLD], *more])))
    return (Bullets(tuple(told)),) if told else ()


def _row(j: Judgement) -> tuple[str, ...]:
    counted = {found: sum(v.outcome is found for v in j.verdicts) for found in Outcome}
    counts = say(
        "counts",
        shown=counted[Outcome.SHOWN],
        not_met=counted[Outcome.NOT_MET],
        not_demonstrated=counted[Outcome.NOT_DEMONSTRATED],
    )
    worst = next((v for v in j.verdicts if v.outcome is j.outcome), None)
    shown = j.outcome is Outcome.SHOWN or worst is None
    by = say("all shown") if shown or worst is None else f"{worst.criterion}: {worst.why}"
    by = by if len(by) <= 150 else by[:149].rsplit(" ", 1)[0] + " …"
    edition = (
        say("adopted", edition=j.edition, adopted=j.adopted)
        if j.adopted
        else say("adopted not said", edition=j.edition)
    )
    return j.title, edition, outcome(j.outcome), f"{by} ({counts})"


def _missing(dossier: Dossier) -> tuple[Block, ...]:
    found = missing(dossier)
    if not found:
        return (Para(say("nothing missing")),)
    count = say("one missing") if len(found) == 1 else say("many missing", count=len(found))
    return Para(say("not complete", count=count), "strong"), Bullets(found)
