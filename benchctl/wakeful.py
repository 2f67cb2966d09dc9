"""Keep this computer awake while load is on, by what its system offers for that; what cannot be had is told.

| system | by | what it ends with |
|---|---|---|
| Linux | `systemd-inhibit`: sleep, idle, lid; where that is refused (SSH): idle | its child reads our pipe |
| macOS | `caffeinate`: idle sleep, on mains power any sleep | it watches our process |
| Windows | SetThreadExecutionState: idle sleep | it is a state of a thread of ours |

That a hold is in force is seen, not assumed, where the system lets us: `systemd-inhibit` begins its child only when it
has the lock, and the child copies a line back. Options of the three are from their manual pages, by memory; what each
leaves possible (a lid, a battery that is empty, a person who asks for sleep) is said with it. A watchdog in each unit
and `stood_still_s` of the scan are what counts when a computer sleeps all the same.
"""

import os
import select
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Protocol

PATIENCE_S = 5.0  # for a way to say that it holds
LOOK_S = 5.0  # from one look after a hold to the next
AGAIN_S = 60.0  # after everything was refused
END_S = 2.0
SAID = b"held\n"
WORDS = 300  # of what a program says


class Refused(Exception):  # noqa: N818 - an answer
    """A way cannot be had. str() says why."""


class Hold(Protocol):
    """The computer is kept awake as long as this is held."""

    def gone(self) -> str:
        """Why it is held no more; empty while it is."""

    def release(self) -> None:
        """Let it sleep."""


@dataclass(frozen=True, slots=True)
class Way:
    """take: begins to hold, raises Refused; covers: what cannot happen then; leaves: what still can."""

    name: str
    take: Callable[[], Hold]
    covers: str
    leaves: str


@dataclass(frozen=True, slots=True)
class Stand:
    """What has come of it. held: the computer is kept awake; words: how far, or why not."""

    held: bool
    words: str


class Child:
    """A hold that lasts as long as a program of the system's does. proves: it copies what it reads once it holds."""

    def __init__(self, words: tuple[str, ...], *, proves: bool, patience_s: float = PATIENCE_S) -> None:
        """Start it. Raises Refused."""
        pipe = subprocess.PIPE
        try:
            self._child = subprocess.Popen(words, stdin=pipe, stdout=pipe, stderr=pipe, start_new_session=True)  # noqa: S603
        except OSError as fault:
            raise Refused(f"{words[0]} cannot be run: {fault.strerror or fault}") from None
        try:
            self._prove(words[0], proves, patience_s)
        except BaseException:
            self.release()
            raise

    def _prove(self, name: str, proves: bool, patience_s: float) -> None:
        child = self._child
        assert child.stdin is not None
        assert child.stdout is not None
        if not proves:
            with suppress(subprocess.TimeoutExpired):
                child.wait(min(patience_s, 0.5))
                raise Refused(f"{name} {self._last_words()}")
            return
        with suppress(BrokenPipeError):
            child.stdin.write(SAID)
            child.stdin.flush()
        if not select.select([child.stdout], [], [], patience_s)[0]:
            raise Refused(f"{name} has not answered within {patience_s:g} s")
        if os.read(child.stdout.fileno(), len(SAID)) != SAID:
            with suppress(subprocess.TimeoutExpired):
                child.wait(END_S)
            raise Refused(f"{name} {self._last_words()}")

    def _last_words(self) -> str:
        """Of one that has ended by itself."""
        code, errors = self._child.poll(), self._child.stderr
        if code is None or errors is None:
            return "does not do what it should"
        said = errors.read(WORDS).decode("utf-8", "replace").strip().splitlines()
        return f"says: {said[-1]}" if said else f"has ended with exit code {code}"

    def gone(self) -> str:
        """Why it is held no more; empty while it is."""
        return "" if self._child.poll() is None else f"what held it {self._last_words()}"

    def release(self) -> None:
        """End the program; by force where it does not end."""
        child = self._child
        if child.stdin is not None:
            with suppress(OSError):
                child.stdin.close()
        for end in (None, child.terminate, child.kill):
            if end is not None:
                end()
            with suppress(subprocess.TimeoutExpired):
                child.wait(END_S)
                break
        for stream in (child.stdout, child.stderr):
            if stream is not None:
                stream.close()


class ThreadState:
    """Windows: ES_CONTINUOUS | ES_SYSTEM_REQUIRED (winbase.h), of the thread that makes and releases it."""

    def __init__(self) -> None:
        """Begin. Raises Refused."""
        if not _execution_state(0x80000001):
            raise Refused("SetThreadExecutionState is refused")

    def gone(self) -> str:
        """The system does not take it away."""
        return ""

    def release(self) -> None:
        """ES_CONTINUOUS alone."""
        _execution_state(0x80000000)


def _execution_state(flags: int) -> int:
    """The state before, 0 where it was refused."""
    import ctypes

    library = getattr(ctypes, "windll", None)
    return int(library.kernel32.SetThreadExecutionState(flags)) if library is not None else 0


def _inhibit(what: str) -> Callable[[], Hold]:
    words = ("systemd-inhibit", f"--what={what}", "--who=benchctl", "--why=load is on", "--mode=block", "cat")
    return lambda: Child(words, proves=True)


def _caffeinate() -> Hold:
    return Child(("caffeinate", "-i", "-s", "-w", str(os.getpid())), proves=False)


# By sys.platform; of several ways the first that can be had.
WAYS: dict[str, tuple[Way, ...]] = {
    "linux": (
        Way("systemd-inhibit", _inhibit("sleep:idle:handle-lid-switch"), "sleep, idle and a closed lid", ""),
        Way("systemd-inhibit", _inhibit("idle"), "idle", "a closed lid and a person still put it to sleep"),
    ),
    "darwin": (
        Way("caffeinate", _caffeinate, "idle, and on mains power sleep", "a closed lid still puts it to sleep"),
    ),
    "win32": (
        Way("the system's execution state", ThreadState, "idle", "a closed lid and a button still put it to sleep"),
    ),
}
ADVICE = "switch sleep off by hand, leave the lid open, keep it on mains power"


class Wakeful:
    """Keeps awake while it is wanted. All of it happens in a thread of its own; `tell` is called there."""

    def __init__(
        self, tell: Callable[[Stand], None], ways: tuple[Way, ...] | None = None, *, again_s: float = AGAIN_S
    ) -> None:
        self._tell = tell
        self._ways = WAYS.get(sys.platform, ()) if ways is None else ways
        self._wanted = self._try = self._over = False
        self._wake = threading.Event()
        self._hold: Hold | None = None
        self._told: Stand | None = None
        self._again_s, self._next_s = again_s, 0.0
        self._thread: threading.Thread | None = None

    def want(self, on: bool) -> None:
        """From now on, or no more. Never waits, never raises."""
        if on != self._wanted:
            self._wanted = on
            self._work_on()

    def look(self) -> None:
        """Find out whether it could be had, and tell if not: before anything is on. Never waits."""
        self._try = True
        self._work_on()

    def close(self) -> None:
        """Let go of it, and wait for that, but not for long."""
        self._over = True
        self._wake.set()
        if self._thread is not None:
            self._thread.join(2 * PATIENCE_S)

    def _work_on(self) -> None:
        self._wake.set()
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="keeping awake", daemon=True)
            self._thread.start()

    def _work(self) -> None:
        try:
            while not self._over:
                self._wake.clear()
                self._step()
                self._wake.wait(LOOK_S if self._wanted else None)
        finally:
            self._let_go()

    def _step(self) -> None:
        why = self._hold.gone() if self._hold is not None else ""
        if why:
            self._let_go()
            self._say(Stand(False, f"this computer is not kept awake any more: {why}"))
            self._next_s = 0.0
        if self._wanted and self._hold is None and time.monotonic() >= self._next_s:
            self._say(self._take())
            self._next_s = time.monotonic() + self._again_s
        elif not self._wanted and self._hold is not None:
            self._let_go()
            self._next_s, self._told = 0.0, None
            self._tell(Stand(False, "this computer may sleep again"))
        elif not self._wanted:
            self._next_s = 0.0
            self._told = None
        if self._try and self._hold is None:
            stand = self._take()
            self._let_go()
            if not stand.held:
                self._tell(stand)
        self._try = False

    def _take(self) -> Stand:
        """Hold by the first way that can be had."""
        whys: list[str] = []
        for way in self._ways:
            try:
                self._hold = way.take()
            except Refused as fault:
                whys += [str(fault)] if str(fault) not in whys else []
                continue
            but = f"; {way.leaves}" if way.leaves else ""
            why = f" ({'; '.join(whys)})" if whys else ""
            return Stand(True, f"this computer is kept awake: {way.covers} ({way.name}){but}{why}")
        why = "; ".join(whys) or f"no way is known for {sys.platform}"
        return Stand(False, f"this computer may fall asleep while load is on: {why}; {ADVICE}")

    def _say(self, stand: Stand) -> None:
        """Once: what is tried again and again with the same end is not told again."""
        if stand != self._told:
            self._told = stand
            self._tell(stand)

    def _let_go(self) -> None:
        if self._hold is not None:
            self._hold.release()
            self._hold = None
