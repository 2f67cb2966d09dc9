"""`python -m tests.pictures [FOLDER]`: pictures of the console for the README, taken from a rehearsal that really runs.

The demo site is rehearsed at thirty times real time, the ladder started from the keys, a fan made to fail on the way.
"""

import argparse
import asyncio
import os
import re
import signal
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from textual.pilot import Pilot

from benchctl.cli.screen import made
from benchctl.core.shown import Snapshot
from benchctl.tui.app import Console

SIZE = (110, 32)
LIMIT_S = 120.0
FONTS = re.compile(r"@font-face\s*\{.*?\}", re.DOTALL)


async def until(app: Console, test: Callable[[Snapshot], bool]) -> None:
    """Until a scan is like that. Raises TimeoutError."""
    async with asyncio.timeout(LIMIT_S):
        while app.picture.now is None or not test(app.picture.now):  # noqa: ASYNC110 - a screen is looked at
            await asyncio.sleep(0.05)


async def press(pilot: Pilot[int], *keys: str) -> None:
    """Keys of a person, and what becomes of them."""
    for key in keys:
        await pilot.press(key)
        await asyncio.sleep(0.4)


def keep(app: Console, folder: Path, name: str) -> None:
    """A picture of the screen, without addresses of fonts: nothing is fetched to look at it."""
    app.redraw()
    drawn = FONTS.sub("", app.export_screenshot(title="benchctl console"))
    (folder / f"{name}.svg").write_text(drawn, encoding="utf-8")


async def take(folder: Path, app: Console) -> None:
    """The course of the rehearsal, and three pictures of it."""
    async with app.run_test(size=SIZE) as pilot:
        await until(app, lambda now: now.off is True)
        await press(pilot, "c", "enter")
        await until(app, lambda now: bool(now.charge))
        await press(pilot, "f", "down", "down", "enter")
        await asyncio.sleep(2.0)
        await press(pilot, "enter", "g", "enter")
        await until(app, lambda now: now.leg is not None and now.leg.segment == 5)
        await app.link.client.inject("fan fails", "bank 4")  # type: ignore[union-attr]
        await until(app, lambda now: now.leg is not None and now.leg.segment == 6 and now.leg.spent_s > 60.0)
        await press(pilot, "1")
        keep(app, folder, "chain")
        await press(pilot, "2")
        keep(app, folder, "program")
        await press(pilot, "3")
        keep(app, folder, "trends")
        os.kill(app.picture.place.pid, signal.SIGTERM)  # of the rehearsal that was started here


def main() -> int:
    """Take them."""
    parser = argparse.ArgumentParser("python -m tests.pictures", description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=Path(__file__).parent / "pictures")
    folder: Path = parser.parse_args().folder
    folder.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        os.environ |= {"BENCHCTL_STATE": f"{name}/state", "BENCHCTL_RUNS": f"{name}/runs"}
        asked = argparse.Namespace(
            site="northquay", rehearse=True, speed=30.0, runs=f"{name}/runs", colours="night", plain=False
        )
        asyncio.run(take(folder, made(asked, "operator")))
    print(f"written: {folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
