"""`benchctl sheet PROGRAM`: a reading sheet to print, and the fuel needed against the fuel in the tank."""

import argparse
from pathlib import Path

from benchctl.cli.voice import Voice

HELP = "print a sheet to write readings on, with the fuel needed against the fuel in the tank"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("program", metavar="PROGRAM", help="program file, or the name of a shipped one")
    parser.add_argument("--site", metavar="SITE", help="site file, or the name of a shipped one: for kW and fuel")
    parser.add_argument(
        "--out", metavar="FILE", help="file to write, ending in .pdf, .html or .txt (default: text to standard output)"
    )
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="paper of the PDF (default: a4)")
    parser.add_argument("--units", choices=("metric", "us"), default="metric", help="units (default: metric)")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Print the sheet. 2 for files that cannot be read, and for an ending that is none of ours."""
    from datetime import UTC, datetime

    from benchctl.files import read_program, read_site
    from benchctl.report.measures import Measures
    from benchctl.report.page import page
    from benchctl.report.sheet import sheet, text_lines
    from benchctl.report.typeset import TypesetFault, typeset

    program, _ = read_program(args.program)
    site = read_site(args.site)[0] if args.site else None
    content = sheet(program, site, Measures(args.units))
    voice.row({"program": program.name, "site": site.name if site else None, "sheet": content.plain()})
    if args.out is None:
        for line in text_lines(content):
            voice.text(line)
        return 0
    path = Path(args.out)
    match path.suffix.lower():
        case ".pdf":
            try:
                data = typeset(content, (), args.paper, datetime(2000, 1, 1, tzinfo=UTC))
            except TypesetFault as fault:
                voice.narrate(str(fault))
                return 1
        case ".html":
            data = page(content, ()).encode()
        case ".txt":
            data = ("\n".join(text_lines(content)) + "\n").encode()
        case other:
            voice.narrate(f"--out: found {other or 'no ending'!r}, expected .pdf, .html or .txt")
            return 2
    path.write_bytes(data)
    voice.text(f"written  {path}")
    return 0
