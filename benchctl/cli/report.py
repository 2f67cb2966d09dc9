"""`benchctl report RUN --out FOLDER`: a run as PDF, HTML and CSV, from its record alone."""

import argparse
from pathlib import Path

from benchctl.cli.voice import Voice
from benchctl.cli.where import run_argument, the_run

HELP = "write the report of a recorded run: PDF, HTML, CSV"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    run_argument(parser)
    parser.add_argument("--out", metavar="FOLDER", default=".", help="folder to write into (default: this one)")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="paper of the PDF (default: a4)")
    parser.add_argument("--units", choices=("metric", "us"), default="metric", help="units (default: metric)")
    parser.add_argument(
        "--rule-set",
        action="append",
        default=[],
        metavar="NAME",
        help="rule set to judge by, a file or the name of a shipped one; may be given several times (default: those "
        "that the program names)",
    )


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Write the report. 1 when the record is altered or the PDF could not be made, 2 when it cannot be read."""
    from benchctl.report.make import open_run, write
    from benchctl.report.sections.missing import missing

    path = the_run(args)
    dossier = open_run(path, args.rule_set, args.units)
    made = write(dossier, Path(args.out), args.paper)
    lacking = missing(dossier)
    for judgement in dossier.judgements:
        voice.text(f"{judgement.outcome.value:<17} {judgement.title}")
    for text in lacking:
        voice.text(f"missing           {text}")
    for file in made.files:
        voice.text(f"written           {file}")
    voice.row(
        {
            "run": path.stem,
            "files": [str(file) for file in made.files],
            "record_sha256": dossier.run.sha256,
            "verdicts": {j.rule_set: j.outcome.value for j in dossier.judgements},
            "missing": list(lacking),
            "altered": list(dossier.run.altered),
        }
    )
    for text in dossier.run.altered:
        voice.narrate(f"the record is ALTERED: {text}")
    if made.fault:
        voice.narrate(made.fault)
    return 1 if made.fault or dossier.run.altered else 0
