"""`benchctl schema [KIND]`: the JSON Schema of a kind of file, for editors that complete and check YAML."""

import argparse
import json

from benchctl.cli.voice import Voice

HELP = "print the JSON Schema of a kind of file"


def arguments(parser: argparse.ArgumentParser) -> None:
    """KIND is left out to list the kinds."""
    kinds = "site, unit, instrument, program, scenario, ruleset, mapping, broker, or mqtt-…"
    parser.add_argument("kind", nargs="?", metavar="KIND", help=kinds)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Print one schema, or the kinds with their shipped names."""
    from benchctl.files import KINDS, names, schema
    from benchctl.mqtt import page

    if args.kind is None:
        for kind in KINDS:
            voice.text(f"{kind:<10} shipped: {', '.join(names(kind))}")
            voice.row({"kind": kind, "shipped": names(kind)})
        for kind, leaf in page.KINDS.items():
            voice.text(f"{kind:<14} what a broker is told: {leaf.says}")
            voice.row({"kind": kind, "says": leaf.says})
        return 0
    if args.kind not in (*KINDS, *page.KINDS):
        voice.narrate(f"no such kind of file: {args.kind!r}; known: {', '.join((*KINDS, *page.KINDS))}")
        return 2
    made = page.schema(args.kind) if args.kind in page.KINDS else schema(args.kind)
    voice.text(json.dumps(made, indent=2, ensure_ascii=False))
    voice.row(made)
    return 0
