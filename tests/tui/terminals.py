"""A pseudo-terminal with a console in it: what is typed, what comes out, and every way in which it can end."""

import fcntl
import os
import pty
import re
import select
import struct
import sys
import termios
import threading
import time
from pathlib import Path
from typing import Any

ESCAPES = re.compile(r"\x1b(\[[0-?]*[ -/]*[@-~]|\][^\x07]*\x07|[()][AB0]|[=>78])")
LIMIT_S = 60.0


class Terminal:
    """Runs `python` with these words; what comes out is read all the time, until it is told not to."""

    def __init__(self, words: list[str], env: dict[str, str], folder: Path, size: tuple[int, int] = (100, 30)) -> None:
        self.data, self.reading = b"", threading.Event()
        self.reading.set()
        self.code: int | None = None
        self.pid, self.end = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
            os.execve(sys.executable, [sys.executable, *words], env | {"TERM": "xterm-256color"})  # noqa: S606
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        while True:
            self.reading.wait()
            try:
                if select.select([self.end], [], [], 0.1)[0] and self.reading.is_set():
                    self.data += os.read(self.end, 1 << 16)
            except (OSError, ValueError):
                return

    def resize(self, width: int, height: int) -> None:
        """Another size; the process gets SIGWINCH."""
        fcntl.ioctl(self.end, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))

    def type(self, data: bytes, apart_s: float = 0.0) -> None:
        """Bytes in one write, or one after the other."""
        for part in [data] if not apart_s else [bytes([b]) for b in data]:
            os.write(self.end, part)
            time.sleep(apart_s)

    def key(self, data: bytes) -> None:
        """A key of a person."""
        os.write(self.end, data)
        time.sleep(0.15)

    @property
    def text(self) -> str:
        """All that ever came, without what steers a terminal."""
        return ESCAPES.sub("", self.data.decode("utf-8", "replace"))

    def until(self, words: str, since: int = 0, limit_s: float = LIMIT_S) -> None:
        """Until that has come, after so many bytes."""

        def come() -> bool:
            return words in ESCAPES.sub("", self.data[since:].decode("utf-8", "replace"))

        until(come, limit_s, lambda: f"{words!r} has not come; the end of what has: {self.text[-1500:]!r}")

    def ended(self, limit_s: float = LIMIT_S) -> int:
        """Its exit code; of one that a signal ended, less than 0."""
        until(self._over, limit_s, lambda: f"it does not end: {self.text[-500:]!r}")
        assert self.code is not None
        return self.code

    def _over(self) -> bool:
        if self.code is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.code = os.waitstatus_to_exitcode(status)
        return self.code is not None

    @property
    def state(self) -> str:
        """One letter of /proc: T is stopped."""
        return Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()[0]

    def hang_up(self) -> None:
        """The terminal is gone: the kernel sends SIGHUP, and SIGCONT after it."""
        self.reading.clear()
        time.sleep(0.25)
        self._let_go()

    def _let_go(self) -> None:
        end, self.end = self.end, -1
        if end >= 0:
            os.close(end)

    def close(self) -> None:
        """End the process that was started here."""
        if not self._over():
            os.kill(self.pid, 9)
            self.code = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        self._let_go()
        self.reading.set()


def until(test: Any, limit_s: float = LIMIT_S, why: Any = lambda: "") -> Any:
    """Look until it is so; an upper bound only."""
    begun_s = time.monotonic()
    while not (found := test()):
        assert time.monotonic() - begun_s < limit_s, why()
        time.sleep(0.05)
    return found
