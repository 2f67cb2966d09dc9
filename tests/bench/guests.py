"""Many clients in one process, for `clients`: `python -m tests.bench.guests CARDS_FOLDER SITE COUNT reading|deaf`.

It says "in" on stdout when all are attached. A deaf client answers nothing and never reads again.
"""

import asyncio
import sys
from pathlib import Path

from benchctl.door.card import find_card
from benchctl.door.client import Client


async def attend(cards: Path, site: str, count: int, *, deaf: bool) -> None:
    """Attach, and stay until the process is ended."""
    card = find_card(cards, site, rehearsal=False)
    assert card is not None
    clients = [await Client.connect(card, f"guest {i}", "console") for i in range(count)]
    if deaf:  # as one that hangs
        for client in clients:
            client._reader._transport.pause_reading()  # type: ignore[attr-defined]
    print("in", flush=True)
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(attend(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), deaf=sys.argv[4] == "deaf"))
