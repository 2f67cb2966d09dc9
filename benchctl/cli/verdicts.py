"""A recorded run judged for a screen, in a process of its own: a long record takes seconds, and keys must not wait.

`python -m benchctl.cli.verdicts RECORD [RULE-SET ...]` writes one JSON object; what it holds is told in
`tui/view/rules.py`. It is nice to whatever scans or draws on this computer.
"""

import asyncio
import json
import os
import sys
from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchctl.record.runs import runs_in

if TYPE_CHECKING:
    from benchctl.assessment.verdict import Judgement

NICE = 10
WORDS = 300  # characters of what a process says that has failed


async def verdicts(folder: Path, name: str, by: Iterable[str] = ()) -> dict[str, Any]:
    """A run of a folder, by the rule sets that its program names and those of these names. Raises OSError."""
    path = next((p for p in runs_in(folder) if p.stem == name), None)
    if path is None:
        return {"fault": f"there is no such run in {folder} any more"}
    pipe = asyncio.subprocess.PIPE
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "benchctl.cli.verdicts", str(path), *by,
        stdin=asyncio.subprocess.DEVNULL, stdout=pipe, stderr=pipe, start_new_session=True,
    )  # fmt: skip
    try:
        said, wrong = await process.communicate()
    finally:
        if process.returncode is None:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()
    if process.returncode:
        words = wrong.decode("utf-8", "replace").strip().rpartition("\n")[2][:WORDS]
        return {"fault": words or f"judging it ended with exit code {process.returncode}"}
    found: dict[str, Any] = json.loads(said)
    return found


def judged(path: Path, by: Iterable[str] = ()) -> dict[str, Any]:
    """What a record shows, as plain values; `fault` says why it cannot be judged."""
    from benchctl.files import FileFault
    from benchctl.record.assessed import assessed, named
    from benchctl.record.fault import RecordFault
    from benchctl.record.reader import Reader
    from benchctl.record.seal import read_seal

    try:
        with Reader(path) as reader:
            names = tuple(dict.fromkeys((*named(reader), *by)))
            found = assessed(reader, names) if names else None
            about = {"condition": reader.condition, "sealed": read_seal(path) is not None}
    except (RecordFault, FileFault, OSError) as fault:
        return {"fault": str(fault).removeprefix(f"{path}: ")}
    if found is None:
        return {**about, "left_out": [], "sets": []}
    left_out = [entry.text for entry in found.trail.entries if entry.what.endswith("not used")]
    return {**about, "left_out": left_out, "sets": [_told(one, found.trail.began) for one in found.judgements]}


def _told(judgement: "Judgement", began: str) -> dict[str, Any]:
    from benchctl.assessment.plain import rows

    rules = []
    for row in rows(judgement):
        at = {f"{end}_at": _clock(began, row[f"{end}_s"]) for end in ("from", "to")}
        rules.append({**row, **at, "key": row["rule"], "standing": row["outcome"]})
    return {
        "rule_set": judgement.rule_set,
        "title": judgement.title,
        "document": judgement.document,
        "edition": judgement.edition,
        "adopted": judgement.adopted,
        "standing": judgement.outcome.value,
        "notes": list(judgement.notes),
        "rules": rules,
    }


def _clock(began: str, at_s: float | None) -> str:
    """The time of day at the site; empty where nobody knows."""
    try:
        return "" if at_s is None else f"{datetime.fromisoformat(began) + timedelta(seconds=at_s):%H:%M:%S}"
    except (ValueError, OverflowError):
        return ""


def main() -> None:
    """Judge the record that is named on the command line."""
    if hasattr(os, "nice"):
        os.nice(NICE)
    print(json.dumps(judged(Path(sys.argv[1]), sys.argv[2:])))


if __name__ == "__main__":
    main()
