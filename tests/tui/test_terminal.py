"""How a console ends, in a real terminal before a real run host; each time the load is still the run host's.

What the attendance policy then does is held to tests/system/test_attendance.py: here it is seen that it is asked, by
`attached` of a scan. The site is invented.
"""

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.system.small import Place, place
from tests.tui.terminals import Terminal, until

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="signals and terminals of POSIX")]
KW = 20.0
HOST_LOG = "small-rehearsal.log"


class Bench:
    """A rehearsal in its own process, with load on by hand, and consoles in terminals before it."""

    def __init__(self, here: Place) -> None:
        self.here, self.terminals = here, list[Terminal]()

    def console(self, *words: str, wait: bool = True, size: tuple[int, int] = (100, 30)) -> Terminal:
        """A console in a terminal of its own, that has its first scan."""
        words = words or ("-m", "benchctl", "console", "--site", str(self.here.site), "--rehearse", "--operator", "Kim")
        made = Terminal(list(words), self.env, self.here.folder, size)
        self.terminals.append(made)
        if wait:
            made.until("bank 2")
        return made

    @property
    def env(self) -> dict[str, str]:
        return dict(self.here.env) | {"TMPDIR": str(self.here.folder)}

    @property
    def now(self) -> dict[str, Any]:
        """The newest scan, as somebody sees it who is no console."""
        said = self.here.verb("status", "--site", str(self.here.site), "--rehearse", "--json")
        assert said.returncode == 0, said.stderr
        found: dict[str, Any] = json.loads(said.stdout.splitlines()[-1])
        return found

    @property
    def on(self) -> bool:
        """Whether the load is on as it was asked for."""
        return bool(self.now["read_back_kw"] > KW / 2)

    def left_alone(self) -> None:
        """The run host lives, the load stays, and that nobody is attached is known to it."""
        found = until(lambda: (now := self.now)["attached"] is False and now)
        assert found["read_back_kw"] > KW / 2
        assert found["alone_s"] > 0.0

    def close(self) -> None:
        """End all consoles: one that is left would count as attached."""
        while self.terminals:
            self.terminals.pop().close()


@pytest.fixture
def bench(loaded):
    """Load is on, and no console is there yet."""
    yield loaded
    loaded.close()


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """Load is put on once, from a console."""
    with place(tmp_path_factory.mktemp("terminal")) as here:
        made = Bench(here)
        try:
            first = made.console()
            first.key(b"l")
            first.until("hard-wired emergency stop")
            first.key(b"\r")
            first.until("Load in kW")
            for digit in f"{KW:g}":
                first.key(digit.encode())
            first.key(b"\r")
            until(lambda: made.on)
            first.close()
            yield made
        finally:
            made.close()


def test_a_terminal_that_is_gone_ends_the_console_and_leaves_the_load(bench):
    console = bench.console()
    until(lambda: bench.now["attached"])
    console.hang_up()
    assert console.ended(15.0) == 1
    bench.left_alone()


def test_a_terminal_that_is_gone_without_a_signal_ends_the_console_too(bench):
    """It is not its controlling terminal, so the kernel tells the console nothing."""
    words = ["-m", "benchctl", "console", "--site", str(bench.here.site), "--rehearse", "--operator", "Kim"]
    ours, its = os.openpty()
    env = bench.env | {"TERM": "xterm-256color"}
    console = subprocess.Popen([sys.executable, *words], stdin=its, stdout=its, stderr=its, env=env,
                               cwd=bench.here.folder, start_new_session=True)  # fmt: skip
    try:
        os.close(its)
        shown = b""

        def come() -> bool:
            nonlocal shown
            shown += os.read(ours, 1 << 16)
            return b"bank 2" in shown

        until(come)
        os.close(ours)
        assert console.wait(20.0) == 1
    finally:
        console.kill()
        console.wait()
    bench.left_alone()


def test_sigterm_gives_the_terminal_back_and_says_where_the_load_stands(bench):
    console = bench.console()
    os.kill(console.pid, signal.SIGTERM)
    assert console.ended() == 1
    assert b"\x1b[?1049l" in console.data  # the other screen of xterm is left (XTerm Control Sequences, DECSET 1049)
    assert "ended by SIGTERM" in console.text
    assert "kW on; the run host (process" in console.text
    assert f"goes on: benchctl console --site {bench.here.site} --rehearse" in " ".join(console.text.split())
    bench.left_alone()


@pytest.mark.parametrize("way", ["signal", "key"])
def test_an_interrupt_asks_and_changes_nothing(bench, way):
    console = bench.console()
    os.kill(console.pid, signal.SIGINT) if way == "signal" else console.key(b"\x03")
    console.until("Leave?")
    assert console.state in "SRD"
    console.key(b"q")
    os.kill(console.pid, signal.SIGTERM)
    assert console.ended() == 1
    assert bench.on


def test_a_stopped_console_is_not_attached_and_goes_on_when_it_may(bench):
    console = bench.console()
    os.kill(console.pid, signal.SIGTSTP)
    until(lambda: console.state == "T")
    bench.left_alone()
    since = len(console.data)
    os.kill(console.pid, signal.SIGCONT)
    console.until("delivered", since)
    until(lambda: bench.now["attached"])
    console.key(b"\x03")
    console.until("Leave?", since)


def stall(bench: Bench, console: Terminal) -> None:
    """Read nothing any more, and have it draw until it cannot."""
    console.reading.clear()

    def drawn() -> bool:
        for _ in range(20):
            console.type(b"?", 0.05)
            console.type(b"1", 0.05)
        return bench.now["attached"] is False

    until(drawn)


def test_a_terminal_that_takes_no_output_is_not_attached_until_it_does_again(bench):
    console = bench.console(size=(200, 60))
    until(lambda: bench.now["attached"])
    stall(bench, console)
    bench.left_alone()
    since = len(console.data)
    console.reading.set()
    until(lambda: bench.now["attached"])
    console.key(b"\x03")
    console.until("Leave?", since)


def test_a_terminal_that_is_gone_while_it_takes_no_output_ends_the_console_too(bench):
    console = bench.console(size=(200, 60))
    stall(bench, console)
    console.hang_up()
    assert console.ended(20.0) == 1
    bench.left_alone()


CRASH = """
import sys
from benchctl.cli import main
from benchctl.tui.app import Console

def opened(self, page):
    password = "S3cr@t!"
    raise ZeroDivisionError("a row of nothing")

Console.opened = opened
sys.exit(main(["console", "--site", sys.argv[1], "--rehearse"]))
"""


def test_a_fault_of_the_screen_is_one_line_and_a_file_and_the_load_stays(bench):
    console = bench.console("-c", CRASH, str(bench.here.site))
    console.key(b"2")
    assert console.ended() == 70
    end = console.data[console.data.rindex(b"\x1b[?1049l") :].decode()
    assert "a fault of benchctl itself: ZeroDivisionError: a row of nothing" in end
    assert "kW on; the run host (process" in end
    assert "Traceback" not in console.text
    assert "S3cr@t!" not in console.text
    (details,) = bench.here.folder.glob("benchctl-fault-*.txt")
    assert "S3cr@t!" not in details.read_text().replace('password = "S3cr@t!"', "")
    bench.left_alone()


@pytest.mark.parametrize("apart_s", [0.0, 0.005])
def test_E3_what_is_pasted_into_a_real_terminal_orders_nothing(bench, apart_s):
    console = bench.console()
    console.type(b"quiet site\nstart 300\n", apart_s)
    console.until("pasted text ignored")
    for text in (b"u\n\x1b[200~unload\ndrop\n\x1b[201~", b"n-u-u\r\r"):
        console.type(text, apart_s)
        time.sleep(0.5)
    now = bench.now
    assert now["mode"] == "idle"
    assert now["read_back_kw"] > KW / 2


def test_E1_a_storm_of_sizes_in_a_real_terminal(bench):
    console = bench.console()
    for _ in range(20):
        for width, height in ((120, 40), (80, 24), (60, 20), (40, 10), (20, 5), (1, 1)):
            console.resize(width, height)
            time.sleep(0.005)
    console.key(b"l")
    for width, height in ((1, 1), (120, 40), (1, 1), (80, 24)):
        console.resize(width, height)
        time.sleep(0.05)
    since = len(console.data)
    console.until("Load by hand", since - 4096)
    assert console.state in "SRD"


def test_the_drop_key_takes_the_load_off_in_a_window_of_one_cell(bench):
    console = bench.console()
    console.resize(1, 1)
    time.sleep(0.3)
    console.key(b"l")  # a form that nobody can read
    console.key(b"\x0f")
    until(lambda: bench.now["off"])
    assert bench.now["dropped"]


@pytest.mark.parametrize("closed", ["stdin", "stdout", "stderr"])
def test_without_a_terminal_the_console_says_so(tmp_path, closed):
    script = "import sys\nfrom benchctl.cli import main\nsys.exit(main([]))\n"
    where = tmp_path / "out"
    redirect = {"stdin": "</dev/null", "stdout": f">{where}", "stderr": f"2>{where}"}[closed]
    env = os.environ | {"BENCHCTL_STATE": str(tmp_path / "state")}
    words = ["-c", f"import os\nos.execvp('sh', ['sh', '-c', '''{sys.executable} -c \"$S\" {redirect}'''])"]
    console = Terminal(words, env | {"S": script}, tmp_path)
    assert console.ended() == 2
    said = where.read_text() if closed == "stderr" else console.text
    assert "the console needs a terminal; without one: benchctl status, attach, run, drop" in said
    console.close()


def test_in_a_pipe_the_console_says_so(tmp_path):
    words = [sys.executable, "-m", "benchctl"]
    said = subprocess.run(words, capture_output=True, text=True, check=False, timeout=60, stdin=subprocess.DEVNULL)
    assert said.returncode == 2
    assert "needs a terminal" in said.stderr
    assert said.stdout == ""


def test_benchctl_alone_shows_the_demo_in_a_rehearsal_and_is_left_with_one_key(tmp_path):
    env = os.environ | {"BENCHCTL_STATE": str(tmp_path / "state"), "BENCHCTL_RUNS": str(tmp_path / "runs")}
    console = Terminal(["-m", "benchctl"], env, tmp_path, (80, 24))
    try:
        console.until("Northquay ferry terminal")
        console.until("REHEARSAL")
        console.until(" kW")
        console.until("to be cooled")  # every bank has been read back open: nothing is on, and that is known
        console.key(b"q")
        assert console.ended() == 0
        assert "goes on" not in console.text
    finally:
        console.close()
        _end_host(tmp_path / "runs" / "northquay-rehearsal.log")


def _end_host(log: Path) -> None:
    for pid in re.findall(r"process (\d+)", log.read_text())[-1:]:
        with contextlib.suppress(ProcessLookupError):
            os.kill(int(pid), signal.SIGTERM)
