"""The command line: one file a verb. Exit codes are a contract.

0 done and good · 1 done, not good or not feasible · 2 usage or file error · 3 tripped or dropped · 4 chain lost ·
70 a fault of benchctl itself.

A verb's module has `HELP` (one line), `arguments(parser)` and `run(args, voice) -> int`, and imports what it needs
late, so that `benchctl --help` stays quick.
"""

import argparse
import importlib
import sys
from collections.abc import Sequence

from benchctl import __version__
from benchctl.cli.voice import Voice

GOOD, NOT_GOOD, USAGE, TRIPPED, CHAIN_LOST = range(5)
FAULT = 70  # EX_SOFTWARE of sysexits.h: whoever calls can tell a fault of benchctl itself from one of the usage

# Verb -> module. The order is the order of the help.
VERBS: dict[str, str] = {
    "console": "benchctl.cli.console",
    "new": "benchctl.cli.new",
    "plan": "benchctl.cli.plan",
    "rehearse": "benchctl.cli.rehearse",
    "run": "benchctl.cli.run",
    "attach": "benchctl.cli.attached",
    "status": "benchctl.cli.status",
    "watch": "benchctl.cli.watch",
    "unload": "benchctl.cli.unload",
    "drop": "benchctl.cli.drop",
    "control": "benchctl.cli.control",
    "probe": "benchctl.cli.probe",
    "runs": "benchctl.cli.runs",
    "show": "benchctl.cli.show",
    "capture": "benchctl.cli.capture",
    "late": "benchctl.cli.late",
    "assess": "benchctl.cli.assess",
    "report": "benchctl.cli.report",
    "verify": "benchctl.cli.verify",
    "compare": "benchctl.cli.compare",
    "history": "benchctl.cli.history",
    "sheet": "benchctl.cli.sheet",
    "export": "benchctl.cli.export",
    "replay": "benchctl.cli.replay",
    "schema": "benchctl.cli.schema",
}

CAUTION = "benchctl is no safety device: keep the hard-wired emergency stop in reach."


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    what = "Plan, rehearse, run and record load tests of standby power sources."
    top = argparse.ArgumentParser(prog="benchctl", description=what, epilog=CAUTION)
    top.add_argument("--version", action="version", version=f"benchctl {__version__}")
    verbs = top.add_subparsers(dest="verb", metavar="VERB", required=True)
    for name, module_name in VERBS.items():
        module = importlib.import_module(module_name)
        sub = verbs.add_parser(name, help=module.HELP, description=module.HELP, epilog=CAUTION)
        sub.add_argument("--json", action="store_true", help="JSON lines on stdout, narration on stderr")
        module.arguments(sub)
        sub.set_defaults(run=module.run)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb, without one the console; returns its exit code. No traceback reaches the user."""
    voice = Voice(json_lines=False)
    try:
        args = parser().parse_args((sys.argv[1:] if argv is None else argv) or ["console"])
        voice = Voice(json_lines=args.json)
        return int(args.run(args, voice))
    except KeyboardInterrupt:
        voice.narrate("interrupted")
        return NOT_GOOD
    except BrokenPipeError:
        return GOOD
    except Exception as fault:
        from benchctl.cli.faults import explain

        return explain(fault, voice)


if __name__ == "__main__":
    sys.exit(main())
