"""Clients as processes of their own: stopped, going on, killed."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.door.rooms import numbered, opened, until

pytestmark = pytest.mark.skipif(os.name != "posix", reason="a process is stopped by a signal of POSIX")

CONSOLE = """
import asyncio, sys
from pathlib import Path
from benchctl.door.card import read_cards
from benchctl.door.client import Client

async def main():
    client = await Client.connect(read_cards(Path(sys.argv[1]))[0], "operator", "console")
    async for change in client:
        pass
    print(client.lost)

asyncio.run(main())
"""


@contextmanager
def console(folder: Path) -> Iterator["subprocess.Popen[str]"]:
    """A console in a process of its own; it is ended with the test."""
    process = subprocess.Popen(
        [sys.executable, "-c", CONSOLE, str(folder)], stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


async def test_a_console_that_is_stopped_is_not_attached_and_attached_again_when_it_goes_on(tmp_path):
    async with opened(tmp_path) as (door, _):
        with console(tmp_path) as process:
            await until(lambda: door.attached == 1)
            process.send_signal(signal.SIGSTOP)
            await until(lambda: door.attached == 0)
            for number in range(200):
                door.show(numbered(number))
            assert [g.who for g in door.guests] == ["operator"], "it keeps its place"
            process.send_signal(signal.SIGCONT)
            await until(lambda: door.attached == 1)


async def test_a_console_that_is_killed_is_gone_at_once(tmp_path):
    async with opened(tmp_path) as (door, _):
        with console(tmp_path) as process:
            await until(lambda: door.attached == 1)
            process.kill()
            begun_s = time.monotonic()
            await until(lambda: not door.guests)
            assert door.attached == 0
            assert time.monotonic() - begun_s < 5.0


async def test_a_console_hears_that_the_host_has_ended(tmp_path):
    async with opened(tmp_path) as (door, _):
        with console(tmp_path) as process:
            await until(lambda: door.attached == 1)
            await door.close("nobody needs it")
            await until(lambda: process.poll() is not None)
            assert process.stdout is not None
            assert process.stdout.read() == "the run host has ended: nobody needs it\n"
