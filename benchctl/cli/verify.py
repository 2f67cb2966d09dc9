"""`benchctl verify FILE`: was a record altered after it was sealed, or a report after it was made?"""

import argparse
from pathlib import Path

from benchctl.cli.voice import Voice
from benchctl.cli.where import run_argument, the_run

HELP = "say whether a record was altered since it was sealed, or a report since it was made"
TRUST = (
    "A hash in a file proves nothing against somebody who can write the file: compare it with the one that is printed "
    "in the signed report."
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    run_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Verify. 0: unaltered since sealing; 1: altered, or nothing seals it; 2: it cannot be read."""
    from benchctl.report.check import is_report

    given = Path(args.run_name).expanduser()
    return _report(given, voice) if is_report(given) and given.is_file() else _record(the_run(args), voice)


def _record(path: Path, voice: Voice) -> int:
    from benchctl.record.beside import beside
    from benchctl.record.fault import RecordFault
    from benchctl.record.seal import file_hash, read_seal
    from benchctl.record.verify import verify

    digest = file_hash(path)
    try:
        found = verify(path)
        altered, notes, sealed, rows = found.altered, found.notes, found.sealed, found.rows
    except RecordFault as fault:
        seal = read_seal(path)
        if seal is None:
            raise
        altered, notes, sealed, rows = (str(fault),), (), True, 0
    around = beside(path, digest)
    strangers = tuple(f"{one.name}: {one.fault}" for one in around if one.fault)
    good = sealed and not altered and not strangers
    voice.row(
        {
            "file": str(path),
            "kind": "record",
            "unaltered": good,
            "sealed": sealed,
            "sha256": digest,
            "rows": rows,
            "altered": [*altered, *strangers],
            "notes": list(notes),
            "beside": [{"file": one.name, "kind": one.kind, "told": one.told} for one in around if not one.fault],
        }
    )
    state = "unaltered since it was sealed" if good else "ALTERED" if altered else "not shown to be unaltered"
    voice.text(f"{path.name}: {state}")
    voice.text(f"  sha256 {digest}")
    for text in (*altered, *strangers, *notes):
        voice.text(f"  {text}")
    for one in around:
        if not one.fault:
            voice.text(f"  beside it, naming its hash: {one.name} ({one.kind}: {one.told})")
    voice.text(TRUST)
    return 0 if good else 1


def _report(path: Path, voice: Voice) -> int:
    from benchctl.report.check import check

    found = check(path)
    voice.row(
        {
            "file": str(path),
            "kind": "report",
            "unaltered": found.intact,
            "record": found.record,
            "record_sha256": found.digest,
            "altered": list(found.altered),
            "notes": list(found.notes),
        }
    )
    voice.text(f"{path.name}: {'unaltered' if found.intact else 'ALTERED'}")
    if found.digest:
        voice.text(f"  drawn from {found.record}, sha256 {found.digest}")
    for text in (*found.altered, *found.notes):
        voice.text(f"  {text}")
    voice.text(TRUST)
    return 0 if found.intact else 1
