"""`benchctl schema [KIND]`: the JSON Schema of a kind of file, for editors that complete and check YAML."""

import argparse
import json

from benchctl.cli.voice import Voice

HELP = "print the JSON Schema of a kind of file"


def arguments(parser: argparse.ArgumentParser) -> None:
    """KIND is left out to list the kinds."""
    kinds = "site, unit, instrument, program, scenario, ruleset, mapping or broker"
    parser.add_argument("kind", nargs="?", metavar="KIND", help=kinds)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Print one schema, or the kinds with their shipped names."""
    from benchctl.files import KINDS, names, schema

    if args.kind is None:
        for kind in KINDS:
            voice.text(f"{kind:<10} shipped: {', '.join(names(kind))}")
            voice.row({"kind": kind, "shipped": names(kind)})
        return 0
    if args.kind not in KINDS:
        voice.narrate(f"no such kind of file: {args.kind!r}; known: {', '.join(KINDS)}")
        return 2
    voice.text(json.dumps(schema(args.kind), indent=2, ensure_ascii=False))
    voice.row(schema(args.kind))
    return 0
