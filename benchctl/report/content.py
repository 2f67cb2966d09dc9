"""The whole report as plain values: what PDF and HTML are both drawn from."""

from benchctl.report.dossier import Dossier
from benchctl.report.parts import Content
from benchctl.report.sections.closing import cautions, in_groups, not_shown, signatures, the_record
from benchctl.report.sections.course import plan_and_done, readings
from benchctl.report.sections.energy import energy
from benchctl.report.sections.front import banner, front
from benchctl.report.sections.graphs import graph, transients
from benchctl.report.sections.happened import cool_down, events
from benchctl.report.sections.place import place
from benchctl.report.sections.proof import limits, proof
from benchctl.report.words import say


def content(dossier: Dossier, embedded: tuple[str, ...] = ()) -> Content:
    """Page 1 and the sections, in the order in which an inspector asks. embedded: names of the files in the PDF."""
    run = dossier.run
    program = run.program
    return Content(
        title=say("title"),
        subtitle=f"{(program.title or program.name) if program else say('by hand')}",
        banner=banner(dossier),
        running=say("running", run=run.name),
        foot=say("foot", hash=run.sha256[:16]),
        page=say("page"),
        language=say("language"),
        digest=in_groups(run.sha256),
        front=front(dossier),
        sections=(
            place(dossier),
            plan_and_done(dossier),
            graph(dossier),
            readings(dossier),
            transients(dossier),
            events(dossier),
            cool_down(dossier),
            energy(dossier),
            *proof(dossier),
            limits(dossier),
            not_shown(dossier),
            cautions(dossier),
            the_record(dossier, embedded),
            signatures(dossier),
        ),
    )
