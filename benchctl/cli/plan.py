"""The verb `plan`: what will happen when a program runs at a site, whether it can, and which rule sets it satisfies."""

import argparse

from benchctl.cli.voice import Voice

HELP = "say what will happen when a program runs at a site, whether it can, and which rule sets it would satisfy"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument("program", metavar="PROGRAM", help="program file, or the name of a shipped one")
    parser.add_argument("--site", required=True, metavar="SITE", help="site file, or the name of a shipped one")
    parser.add_argument(
        "--rule-set",
        nargs="+",
        action="extend",
        metavar="NAME",
        default=[],
        help="judge the plan by these rule sets; without it by those that the program names",
    )


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Print the plan. 0: feasible and no rule unsatisfied; 1: not. Raises FileFault for files that cannot be read."""
    from benchctl.files import read_program, read_rule_set, read_site
    from benchctl.planning import plan
    from benchctl.planning.judge import judge
    from benchctl.planning.judge_lines import verdict_lines, verdict_rows
    from benchctl.planning.judged import Standing
    from benchctl.planning.lines import lines
    from benchctl.planning.rows import rows

    site, _ = read_site(args.site)
    program, _ = read_program(args.program)
    rule_sets = [read_rule_set(name)[0] for name in args.rule_set or program.rule_sets]
    drawn = plan(site, program)
    verdicts = [judge(site, program, drawn, rules) for rules in rule_sets]
    for line in lines(drawn, site, program):
        voice.text(line)
    for verdict in verdicts:
        for line in verdict_lines(verdict):
            voice.text(line)
    *parts, totals = rows(drawn)
    for row in (*parts, *(row for verdict in verdicts for row in verdict_rows(verdict)), totals):
        voice.row(row)
    return 0 if drawn.feasible and all(v.standing is not Standing.NOT for v in verdicts) else 1
