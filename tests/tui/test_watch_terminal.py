"""The screen of many benches in a real terminal: before a real run host, and every way in which it can end."""

import os
import signal
import sys

import pytest

from tests.system.small import place
from tests.tui.terminals import Terminal, until

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="signals and terminals of POSIX")]
HOST_LOG = "small-rehearsal.log"


@pytest.fixture
def here(tmp_path):
    with place(tmp_path) as made:
        yield made


@pytest.fixture
def terminal(here):
    made = []

    def start(*words, **env):
        made.append(Terminal(["-m", "benchctl", "watch", *words], dict(here.env) | env, here.folder))
        return made[-1]

    yield start
    for one in made:
        one.close()


def test_a_rehearsal_s_run_host_is_seen_live_then_lost_and_the_screen_is_left(here, terminal):
    watch = terminal(NO_COLOR="1")
    watch.until("nothing has come yet")
    host = here.start("benchctl", "control", "--site", str(here.site), "--rehearse", "--foreground")
    watch.until("1 bench, 1 live")
    watch.until("small")
    watch.key(b"\r")
    watch.until("bank 2")
    since = len(watch.data)
    host.send_signal(signal.SIGKILL)
    watch.until("LOST", since)
    assert b"48;2;200;50;43" not in watch.data  # NO_COLOR: red as the night's theme has it behind what is faulty
    watch.key(b"q")
    assert watch.ended() == 0
    assert "Traceback" not in watch.text


@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 1), (signal.SIGINT, 0)])
def test_a_signal_ends_it_and_gives_the_terminal_back(terminal, number, code):
    watch = terminal()
    watch.until("nothing has come yet")
    os.kill(watch.pid, number)
    assert watch.ended() == code
    assert b"\x1b[?1049l" in watch.data  # the screen as it was, by xterm's control sequences
    assert "Traceback" not in watch.text


def test_a_terminal_that_is_gone_ends_it(terminal):
    watch = terminal()
    watch.until("nothing has come yet")
    watch.hang_up()
    assert watch.ended() == 1


def test_a_run_host_is_not_kept_alive_by_who_watches(here, terminal):
    """It ends when no console has needed it for a while (five seconds, of a rehearsal as fast as it goes)."""
    host = here.start("benchctl", "control", "--site", str(here.site), "--rehearse", "--foreground", "--speed", "max")
    watch = terminal()
    watch.until("1 bench, 1 live")
    until(lambda: host.poll() is not None, 60.0)
    assert host.poll() == 0
    watch.until("left")
