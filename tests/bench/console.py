"""What the console costs and how long a key takes: a hundred banks at two scans a second, an hour of trends open.

Real processes: the run host of a rehearsal, the console on a pseudo-terminal of 160 by 50 whose output is always read,
or in a tmux of its own. CPU is that of the console (and of tmux) from /proc over a quiet span; a key's time runs from
its byte to the first byte of the page that it opens. Goals: 5 % of a core on a pseudo-terminal, 8 % in tmux; 40 ms for
a key at the 99th percentile of 500; a first picture within 1 s; memory that does not grow.
"""

import argparse
import fcntl
import os
import pty
import random
import select
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import termios
import time
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from benchctl.door.card import FOLDER, read_cards
from tests.bench.figures import machine, summary

COLUMNS, ROWS = 160, 50
TICK_S = os.sysconf("SC_CLK_TCK") if hasattr(os, "sysconf") else 100
FIRST = b"ALL LOAD OFF"
PAGES = ((b"1", b"readback"), (b"4", b"No alarm"))  # a key, and what only its page shows

SITE = """title: A hundred banks (invented)
source: {{name: big set, kind: generating set, power: 10 MW, apparent: 12500 kVA, power_factor: 0.8, volts: 400,
  hertz: 50, wiring: three-phase four-wire, rating_class: ESP, isochronous: true}}
units:
{units}
ambient_c: 15
attendance: {{unattended: allowed}}
"""


class Pseudo:
    """A process on a pseudo-terminal."""

    def __init__(self, words: list[str], env: dict[str, str]) -> None:
        self.begun_s = time.monotonic()
        self.pid, self.end = pty.fork()
        if self.pid == 0:
            os.execvpe(words[0], words, env)  # noqa: S606 - our own program
        fcntl.ioctl(self.end, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        self.came = 0

    def until(self, words: bytes, limit_s: float) -> float:
        """Seconds until that has come; raises RuntimeError."""
        begun_s, seen = time.monotonic(), b""
        while (left_s := limit_s - (time.monotonic() - begun_s)) > 0:
            if select.select([self.end], [], [], left_s)[0]:
                seen += self._read()
                if words in seen:
                    return time.monotonic() - begun_s
        raise RuntimeError(f"{words!r} was not shown within {limit_s:g} s; the end of what was: {seen[-500:]!r}")

    def drain(self, seconds: float) -> None:
        """Read all that comes for a while."""
        until_s = time.monotonic() + seconds
        while (left_s := until_s - time.monotonic()) > 0:
            if select.select([self.end], [], [], left_s)[0]:
                self._read()

    def key(self, text: bytes) -> None:
        """Type."""
        os.write(self.end, text)

    def _read(self) -> bytes:
        data = os.read(self.end, 1 << 16)
        self.came += len(data)
        return data

    def close(self) -> None:
        """End it."""
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.end)


def spent_s(pid: int) -> float:
    """CPU time of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICK_S


def resident_mb(pid: int) -> float:
    """Memory of a process now."""
    return int(Path(f"/proc/{pid}/statm").read_text(encoding="utf-8").split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


@contextmanager
def _place(units: int) -> Any:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = [f"  - {{name: bank {n}, profile: coil-100, at: 127.0.0.1:{20000 + n}}}" for n in range(1, units + 1)]
        (folder / "hundred.yaml").write_text(SITE.format(units="\n".join(rows)), encoding="utf-8")
        env = os.environ | {
            "BENCHCTL_STATE": str(folder / "state"), "BENCHCTL_RUNS": str(folder / "runs"), "TERM": "xterm-256color",
            "COLORTERM": "truecolor",
        }  # fmt: skip
        (folder / "state").mkdir(mode=0o700)
        try:
            yield folder, env
        finally:
            for card in read_cards(folder / "state" / FOLDER, lambda _: None):
                os.kill(card.pid, signal.SIGTERM)


def _words(folder: Path) -> list[str]:
    return [sys.executable, "-m", "benchctl", "console", "--site", str(folder / "hundred.yaml"), "--rehearse"]


def _cost(screen: Pseudo, pids: list[int], seconds: float) -> dict[str, float]:
    before, came = [spent_s(p) for p in pids], screen.came
    begun_s = time.monotonic()
    screen.drain(seconds)
    lasted_s = time.monotonic() - begun_s
    shares = [100.0 * (spent_s(p) - b) / lasted_s for p, b in zip(pids, before, strict=True)]
    return {"cpu_percent": round(sum(shares), 2), "kb_s": round((screen.came - came) / 1e3 / lasted_s, 1)}


def _keys(screen: Pseudo, count: int) -> list[float]:
    random.seed(1)
    found = []
    for n in range(count):
        key, words = PAGES[(n + 1) % 2]
        screen.drain(random.uniform(0.05, 0.35))
        screen.key(key)
        found.append(screen.until(words, 5.0))
    return found


def measure(units: int, seconds: float, keys: int) -> dict[str, Any]:
    """One console on a pseudo-terminal, and one in tmux where that is installed."""
    told: dict[str, Any] = {}
    with _place(units) as (folder, env):
        screen = Pseudo(_words(folder), env)
        try:
            told["first_picture_s"] = round(screen.until(FIRST, 30.0), 3)
            screen.until(b"IDLE", 60.0)
            screen.drain(5.0)
            for page, key in (("chain", b"1"), ("trends", b"3")):
                screen.key(key)
                screen.drain(3.0)
                told[page] = _cost(screen, [screen.pid], seconds)
            screen.key(b"[[")
            screen.drain(3.0)
            told["trends, one hour"] = _cost(screen, [screen.pid], seconds)
            screen.key(b"1")
            screen.drain(2.0)
            told["memory_mb"] = [round(resident_mb(screen.pid), 1)]
            told["keys"] = summary(_keys(screen, keys))
            told["memory_mb"].append(round(resident_mb(screen.pid), 1))
        finally:
            screen.close()
        if shutil.which("tmux"):
            told["tmux"] = _in_tmux(folder, env, seconds)
    return told


def _in_tmux(folder: Path, env: dict[str, str], seconds: float) -> dict[str, float]:
    socket = str(folder / "tmux")
    words = ["tmux", "-S", socket, "-f", "/dev/null"]
    size = ["-x", str(COLUMNS), "-y", str(ROWS)]
    screen = Pseudo([*words, "new-session", *size, *_words(folder)], env)
    try:
        screen.until(FIRST, 30.0)
        screen.until(b"IDLE", 60.0)
        screen.key(b"3")
        screen.drain(4.0)
        asked = [*words, "display-message", "-p", "#{pid} #{pane_pid}"]
        pids = subprocess.run(asked, capture_output=True, text=True, check=True).stdout.split()
        return _cost(screen, [screen.pid, *map(int, pids)], seconds)
    finally:
        subprocess.run([*words, "kill-server"], capture_output=True, check=False)
        screen.close()


def run(words: list[str], *, quick: bool) -> dict[str, Any]:
    """Measure and print."""
    parser = argparse.ArgumentParser("python -m tests.bench console", description=__doc__)
    parser.add_argument("--units", type=int, default=100)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--keys", type=int, default=500)
    asked = parser.parse_args(words)
    if quick:
        asked.units, asked.seconds, asked.keys = 10, 3.0, 10
    told = {"machine": machine(), "units": asked.units} | measure(asked.units, asked.seconds, asked.keys)
    for name, value in told.items():
        print(f"{name:<18} {value}")
    return told
