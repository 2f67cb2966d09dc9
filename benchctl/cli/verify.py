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
    beside, strangers = _beside(path, digest)
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
            "beside": beside,
        }
    )
    state = "unaltered since it was sealed" if good else "ALTERED" if altered else "not shown to be unaltered"
    voice.text(f"{path.name}: {state}")
    voice.text(f"  sha256 {digest}")
    for text in (*altered, *strangers, *notes):
        voice.text(f"  {text}")
    for text in beside:
        voice.text(f"  beside it, naming its hash: {text}")
    voice.text(TRUST)
    return 0 if good else 1


def _beside(path: Path, digest: str) -> tuple[list[str], list[str]]:
    """What lies beside a record: names of files that name its hash, and what is wrong with those that name another."""
    import json

    good, wrong = [], []
    for other in sorted(path.parent.glob(f"{path.name}.*.json")):
        try:
            named = json.loads(other.read_text(encoding="utf-8")).get("hash")
        except (OSError, ValueError, AttributeError) as fault:
            wrong.append(f"{other.name}: cannot be read: {fault}")
            continue
        if named == digest:
            good.append(other.name)
        else:
            wrong.append(f"{other.name}: belongs to another record: it names the hash {str(named)[:16]}…")
    return good, wrong


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
