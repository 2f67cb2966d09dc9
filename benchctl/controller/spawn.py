"""Starting a controller as a process of its own, which the terminal that started it cannot take along."""

import os
import subprocess
import sys
import time
from pathlib import Path

from benchctl.door.card import Card, find_card, has_card

START_S = 30.0
LOOK_S = 0.05


class StartFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """A controller did not come up; the text says what its log says."""


def start(words: list[str], log: Path, cards: Path, site: str, rehearsal: bool) -> Card:
    """Start `benchctl control` with these words and wait for its card. Raises StartFault."""
    log.parent.mkdir(parents=True, exist_ok=True)
    begin = log.stat().st_size if log.exists() else 0
    apart: dict[str, object] = {"start_new_session": True}
    if sys.platform == "win32":
        apart = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.DETACHED_PROCESS}
    with log.open("ab") as out:
        process = subprocess.Popen(  # noqa: S603 - our own program
            [sys.executable, "-m", "benchctl", "control", "--foreground", *words],
            stdin=subprocess.DEVNULL, stdout=out, stderr=out, close_fds=True, env=os.environ.copy(), **apart,  # type: ignore[call-overload]
        )  # fmt: skip
    begun_s = time.monotonic()
    while time.monotonic() - begun_s < START_S:
        card = find_card(cards, site, rehearsal) if has_card(cards, process.pid) else None
        if card is not None and card.pid == process.pid:
            return card
        if process.poll() is not None:
            said = log.read_bytes()[begin:].decode("utf-8", "replace").strip()
            raise StartFault(said or f"the run host ended with exit code {process.returncode}; log: {log}")
        time.sleep(LOOK_S)
    process.terminate()
    raise StartFault(f"the run host did not come up within {START_S:.0f} s; log: {log}")
