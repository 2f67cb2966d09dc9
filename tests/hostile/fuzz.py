"""Coverage-guided bytes against what takes bytes apart: `python -m tests.hostile fuzz TARGET [--runs N] [--seed S]`.

Needs atheris, which is no dependency of the tests: where it is missing this says so and ends with 0.
"""

import argparse
import os
import sys
import tempfile
from collections.abc import Callable
from contextlib import suppress
from importlib import import_module
from pathlib import Path

Target = Callable[[bytes], None]
SAMPLES = Path(__file__).parents[1] / "record" / "samples"


def frames() -> Target:
    """Bytes of a connection: frames, and the replies to every kind of request. Only UnreadableError may come of it."""
    from benchctl.core.registers import Space
    from benchctl.field.answer import Got
    from benchctl.field.encode import Request
    from benchctl.field.modbus import UnreadableError, next_frame, read_question, write_question
    from benchctl.field.points import Block

    questions = [read_question(1, Block(space, 0, count)) for space in Space for count in (1, 3, 17)]
    questions += [write_question(1, Request(f, 5, (1,) * (1 if f < 15 else 3))) for f in (5, 6, 15, 16)]

    def run(data: bytes) -> None:
        with suppress(UnreadableError):
            while data:
                used, _, _, pdu = next_frame(data)
                if not used:
                    break
                assert used <= len(data)
                data = data[used:]
                for question in questions if pdu else ():
                    with suppress(UnreadableError):
                        answer = question.answer(pdu)
                        assert answer.got in (Got.OK, Got.EXCEPTION, Got.BAD)

    return run


def sweeps() -> Target:
    """A packed sweep of a record, and what its words mean."""
    from benchctl.field.sweep import pack, readings, unpack
    from benchctl.files import read_site

    site, _ = read_site("northquay")

    def run(data: bytes) -> None:
        try:
            sweep = unpack(site, data)
        except ValueError:
            return
        readings(site, sweep)
        assert unpack(site, pack(sweep)) == sweep

    return run


def nouns() -> Target:
    """The packed nouns of a record."""
    from benchctl.core.decision import Settings
    from benchctl.core.orders import Orders
    from benchctl.files.bounded import from_json
    from benchctl.record.codec import noun, plain

    def run(data: bytes) -> None:
        for kind in (Orders, Settings):
            with suppress(ValueError, KeyError, TypeError):  # what the reader calls damage
                found = noun(kind, from_json(data.decode("utf-8", "replace")))
                plain(found)

    return run


def records() -> Target:
    """A record, some bytes of it overwritten: two for the place, the rest put there."""
    from benchctl.record.fault import RecordFault
    from benchctl.record.reader import Reader

    whole = next(SAMPLES.glob("schema2-first/*.run")).read_bytes()
    path = Path(tempfile.mkdtemp()) / "fuzzed.run"

    def run(data: bytes) -> None:
        at = int.from_bytes(data[:2], "big") * len(whole) >> 16
        path.write_bytes(whole[:at] + data[2:] + whole[at + len(data[2:]) :])
        with suppress(RecordFault), Reader(path) as reader:
            site = reader.settings.site
            for scan in reader.scans():
                scan.inputs(site)
                scan.orders()

    return run


def papers() -> Target:
    """Text of a file that people write."""
    from benchctl.files import FileFault
    from benchctl.files.tree import parse, plain

    def run(data: bytes) -> None:
        told = ""
        try:
            plain(parse(data.decode("utf-8", "replace"), "x.yaml"))
        except FileFault as fault:
            told = str(fault)
        assert all(line.isprintable() for line in told.split("\n"))

    return run


TARGETS: dict[str, Callable[[], Target]] = {
    "frames": frames,
    "sweeps": sweeps,
    "nouns": nouns,
    "records": records,
    "papers": papers,
}


def main(rest: list[str]) -> int:
    """From the command line."""
    parser = argparse.ArgumentParser("python -m tests.hostile fuzz", description=__doc__)
    parser.add_argument("target", choices=TARGETS)
    parser.add_argument("--runs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args(rest)
    try:
        atheris = import_module("atheris")
    except ImportError:
        print(f"skipped: {args.target}: atheris is not installed (pip install atheris)")
        return 0
    with atheris.instrument_imports(include=["benchctl", "pymodbus"]):
        run = TARGETS[args.target]()
    options = [f"-runs={args.runs}", f"-seed={args.seed}", "-max_len=600", "-timeout=10", "-rss_limit_mb=1024"]
    os.chdir(tempfile.mkdtemp())  # what it finds is written here
    atheris.Setup([sys.argv[0], *options], run)
    atheris.Fuzz()
    return 0
