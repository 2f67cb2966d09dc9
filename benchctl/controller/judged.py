"""A run judged as soon as it is over, in a process of its own: it may take seconds, and a scan must not wait.

`python -m benchctl.controller.judged RECORD` writes one JSON object: `sets`, or `fault`, why it cannot be judged.
"""

import asyncio
import json
import os
import sys
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import Any

from benchctl.files import FileFault
from benchctl.mqtt.payloads import Judged
from benchctl.record.assessed import assessed, named
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader

NICE = 10
LIMIT_S = 600.0


async def judged(path: Path) -> tuple[tuple[Judged, ...] | None, str]:
    """What the rule sets that its program names say of a run, or None and why nobody knows."""
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "benchctl.controller.judged", str(path),
        stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.DEVNULL,
    )  # fmt: skip
    try:
        said, _ = await asyncio.wait_for(process.communicate(), LIMIT_S)
        found: dict[str, Any] = json.loads(said)
    except (TimeoutError, ValueError):
        return None, "it could not be judged"
    finally:
        if process.returncode is None:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()
    if "fault" in found:
        return None, f"it could not be judged: {found['fault']}"
    return tuple(Judged(**row) for row in found["sets"]), ""


def rows(path: Path) -> dict[str, Any]:
    """`sets`: a mapping a rule set, with the keys of `Judged`; or `fault`."""
    try:
        with Reader(path) as reader:
            found = assessed(reader) if named(reader) else None
    except (RecordFault, FileFault, OSError) as fault:
        return {"fault": str(fault)}
    sets = []
    for judgement in found.judgements if found else ():
        count = Counter(verdict.outcome.value for verdict in judgement.verdicts)
        words = {word.replace(" ", "_"): count[word] for word in ("shown", "not met", "not demonstrated")}
        sets.append({"rule_set": judgement.rule_set, "outcome": judgement.outcome.value, **words})
    return {"sets": sets}


if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(NICE)
    sys.stdout.write(json.dumps(rows(Path(sys.argv[1]))))
