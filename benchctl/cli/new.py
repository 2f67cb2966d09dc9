"""The verb `new`: a program file that would satisfy a rule set at a site, for a person to go on editing."""

import argparse
from pathlib import Path

from benchctl.cli.voice import Voice

HELP = "write a program that would satisfy a rule set at a site, to go on editing"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument("file", metavar="FILE", help="program file to write; an existing one is never overwritten")
    parser.add_argument("--rule-set", required=True, metavar="NAME", help="rule set file, or the name of a shipped one")
    parser.add_argument("--site", required=True, metavar="SITE", help="site file, or the name of a shipped one")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Write the file. 0: written; 1: the site cannot, nothing is written; 2: FILE is there. Raises FileFault."""
    from benchctl.files import RecordedShelf, SourceFile, read_program, read_rule_set, read_site
    from benchctl.planning import plan
    from benchctl.planning.draft import draft
    from benchctl.planning.draft_text import text
    from benchctl.planning.judge import judge
    from benchctl.planning.judge_lines import verdict_lines, verdict_rows
    from benchctl.planning.judged import Standing
    from benchctl.planning.plan import Severity

    file = Path(args.file)
    rules, _ = read_rule_set(args.rule_set)
    site, _ = read_site(args.site)
    if file.exists():
        voice.narrate(f"{args.file}: is there already and is not overwritten; choose another name")
        return 2
    made = text(draft(rules, site, file.stem, args.rule_set))
    program, _ = read_program("new", RecordedShelf([SourceFile.of("program", "new", args.file, made)]))
    drawn = plan(site, program)
    verdict = judge(site, program, drawn, rules)
    against = [f.text for f in drawn.findings if f.severity is Severity.REFUSAL]
    against += [f"{j.key}: {j.criterion}: {j.why}" for j in verdict.rules if j.standing is Standing.NOT]
    row = {
        "row": "program",
        "file": args.file,
        "rule_set": rules.name,
        "site": site.name,
        "written": not against,
        "why": against,
        "length_s": drawn.totals.length_s,
        "energy_kwh": drawn.totals.energy_kwh,
        "peak_source_kw": drawn.totals.peak_source_kw,
    }
    if against:
        voice.narrate(f"{site.name} cannot satisfy {rules.name}; nothing is written:")
        for why in against:
            voice.narrate(f"  {why}")
        voice.row(row)
        return 1
    with file.open("x", encoding="utf-8", newline="\n") as stream:
        stream.write(made)
    for line in verdict_lines(verdict):
        voice.text(line)
    voice.text()
    voice.text(f"{args.file}: written; look through it, then: benchctl plan {args.file} --site {args.site}")
    for found in verdict_rows(verdict):
        voice.row(found)
    voice.row(row)
    return 0
