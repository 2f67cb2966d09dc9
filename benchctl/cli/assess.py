"""`benchctl assess RUN`: what a recorded run shows of the rule sets, each verdict with its working."""

import argparse
import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING

from benchctl.cli.voice import Voice
from benchctl.cli.where import run_argument, the_run

if TYPE_CHECKING:
    from pathlib import Path

    from benchctl.assessment.trail import Trail
    from benchctl.assessment.verdict import Judgement, Verdict, Working
    from benchctl.record.assessed import Assessed

HELP = "judge a recorded run by rule sets: shown, not met or not demonstrated, each with its working"
WIDTH = 110
INDENT = 4
ACCEPTANCE = "Acceptance is the authority's: these are verdicts on single rules, not a pass or fail of the test."


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    run_argument(parser)
    parser.add_argument(
        "--rule-set",
        action="append",
        default=[],
        metavar="NAME",
        help="rule set: a file or the name of a shipped one; may be given again (default: those the program names)",
    )
    parser.add_argument("--brief", action="store_true", help="verdicts only, without their working")
    parser.add_argument("--save", action="store_true", help="keep the verdicts beside the record, with its hash")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Judge a run. 0 when all is shown, 1 when something is not; 2 for a run or rule set that cannot be read."""
    from benchctl.assessment.plain import rows
    from benchctl.assessment.verdict import Outcome
    from benchctl.files import names
    from benchctl.record.assessed import assessed, named, save
    from benchctl.record.fault import RecordFault
    from benchctl.record.reader import Reader

    try:
        path = the_run(args)
        with Reader(path) as reader:
            if not args.rule_set and not named(reader):
                shipped = ", ".join(names("ruleset"))
                said = f"the program of {path.stem} names no rule set: name one with --rule-set"
                voice.narrate(f"{said}; shipped: {shipped}")
                return 2
            found = assessed(reader, args.rule_set)
            condition = reader.condition
    except RecordFault as fault:
        voice.narrate(str(fault))
        return 2
    for entry in found.trail.entries:
        if entry.what.endswith("not used"):
            voice.narrate(entry.text)
    voice.text(f"run         {path.stem}, begun {found.trail.began}")
    if condition != "closed":
        voice.narrate(f"the record is {condition}: what is not in it is not demonstrated")
    for judgement, source in zip(found.judgements, found.sources, strict=True):
        for row in rows(judgement):
            voice.row(row)
        for line in lines(judgement, found.trail, brief=args.brief):
            voice.text(line)
        voice.text(f"  Limits from {source.path}, sha256 {source.sha256[:16]}")
    for line in figure_lines(found):
        voice.text(line)
    voice.text()
    voice.text(ACCEPTANCE)
    if args.save:
        try:
            voice.narrate(f"kept in {save(path, found)}")
        except OSError as fault:
            voice.narrate(f"{path}: the verdicts cannot be kept beside it: {fault.strerror}")
            return 2
    return 0 if all(judgement.outcome is Outcome.SHOWN for judgement in found.judgements) else 1


def lines(judgement: "Judgement", trail: "Trail", *, brief: bool) -> Iterator[str]:
    """A judgement for people."""
    yield ""
    edition = f"{judgement.document} {judgement.edition}".strip()
    adopted = f", adopted at the site: {judgement.adopted}" if judgement.adopted else ""
    yield f"{judgement.outcome.value.upper()}: {judgement.title} ({judgement.rule_set}; {edition}{adopted})"
    for verdict in judgement.verdicts:
        yield ""
        yield from verdict_lines(verdict, trail, brief=brief)
    if judgement.notes:
        yield ""
    for note in judgement.notes:
        yield from _wrapped(f"Note: {note}", 2)


def verdict_lines(verdict: "Verdict", trail: "Trail", *, brief: bool) -> Iterator[str]:
    """A verdict: criterion, why, where the limit is from, the two times, the sums."""
    origin = verdict.origin
    yield from _wrapped(f"{verdict.outcome.value:<17} {verdict.key}: {verdict.criterion}", 2, 20)
    yield from _wrapped(verdict.why, INDENT)
    where = "; ".join(p for p in (f"clause {origin.clause}" if origin.clause else "", origin.source, origin.note) if p)
    yield from _wrapped(f"limit {origin.known.value}" + (f"; {where}" if where else ""), INDENT)
    if verdict.from_s is not None:
        yield from _wrapped(f"from {_moment(trail, verdict.from_s)} to {_moment(trail, verdict.to_s)}", INDENT)
    if not brief:
        for one in verdict.working:
            yield from working_lines(one)


def working_lines(one: "Working") -> Iterator[str]:
    """A sum that a person can do again."""
    from benchctl.assessment.words import clock

    value = "not known" if one.value is None else f"{one.value:.6g} {one.unit}".rstrip()
    bounds = ""
    if one.low is not None and one.high is not None and one.low != one.high:
        bounds = f" (between {one.low:.6g} and {one.high:.6g})"
    yield from _wrapped(f"= {one.name} {value}{bounds}: {one.formula}", INDENT, INDENT + 2)
    for given in one.inputs:
        figure = "none" if given.value is None else given.value
        figure = f"{figure:.6g}" if isinstance(figure, float) else figure
        at = "" if given.at_s is None else f" at {clock(given.at_s)}"
        yield from _wrapped(f"{given.name}: {figure} {given.unit}".rstrip() + at, INDENT + 4, INDENT + 6)
    if one.note:
        yield from _wrapped(one.note, INDENT + 4, INDENT + 6)


def figure_lines(found: "Assessed") -> Iterator[str]:
    """Loads, energy, fuel."""
    if found.figures:
        yield ""
        yield "Figures"
    for one in found.figures:
        yield from working_lines(one)


def tell_verdicts(path: "Path", voice: Voice) -> list[dict[str, str]]:
    """At the end of a run: a line for each rule set that its program names, and the same as rows. Never raises."""
    from benchctl.files import FileFault
    from benchctl.record.assessed import assessed, named
    from benchctl.record.fault import RecordFault
    from benchctl.record.reader import Reader

    try:
        with Reader(path) as reader:
            found = assessed(reader) if named(reader) else None
    except (RecordFault, FileFault, OSError) as fault:
        voice.narrate(f"not assessed: {fault}")
        return []
    for judgement in found.judgements if found else ():
        voice.text(f"verdict     {outcome_line(judgement)}")
    return [{"rule_set": j.rule_set, "outcome": j.outcome.value} for j in (found.judgements if found else ())]


def outcome_line(judgement: "Judgement") -> str:
    """A rule set in a line: its outcome, and how many of its rules came out how."""
    counts = [verdict.outcome.value for verdict in judgement.verdicts]
    parts = [f"{counts.count(word)} {word}" for word in ("shown", "not met", "not demonstrated") if word in counts]
    return f"{judgement.rule_set}: {judgement.outcome.value} ({', '.join(parts) or 'no rules'})"


def _moment(trail: "Trail", at_s: float | None) -> str:
    from datetime import datetime, timedelta

    from benchctl.assessment.words import clock

    if at_s is None:
        return "not known"
    try:
        wall = datetime.fromisoformat(trail.began) + timedelta(seconds=at_s)
    except (ValueError, OverflowError):
        return clock(at_s)
    return f"{clock(at_s)} ({wall.isoformat(timespec='seconds')})"


def _wrapped(text: str, first: int, rest: int | None = None) -> list[str]:
    pad = " " * (first if rest is None else rest)
    return textwrap.wrap(text, WIDTH, initial_indent=" " * first, subsequent_indent=pad, break_on_hyphens=False)
