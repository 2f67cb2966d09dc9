"""Looking at a live bench from outside: what is physically true, what a console says, what the record holds."""

import json
import os
import signal
import subprocess
import threading
from pathlib import Path
from typing import Any

from benchctl.record.reader import Reader
from tests.system.small import PATIENCE_S, Place, short_program, until

STILL = 30  # truths, ten a second
ON_S = 40.0  # from a start to load: processes, fans, permissives, a ramp; on a slow machine


def truth(here: Place) -> dict[str, Any]:
    """The newest whole line of what is physically true, as the simulator tells it."""
    text = here.truth.read_text(encoding="utf-8")
    lines = text.splitlines()
    found: dict[str, Any] = json.loads(lines[-1] if text.endswith("\n") else lines[-2])
    return found


def truths(here: Place) -> list[dict[str, Any]]:
    """All of it, in order."""
    return [json.loads(line) for line in here.truth.read_text(encoding="utf-8").splitlines() if line.endswith("}")]


def loaded(here: Place) -> bool:
    """The program's 40 kW are on."""
    return float(truth(here)["load_kw"]) > 30.0


def quiet(here: Place) -> bool:
    """No resistor draws anything."""
    return float(truth(here)["load_kw"]) < 1.0


def fans_on(here: Place) -> bool:
    """Every unit's fan turns."""
    return all(unit["fan_on"] for unit in truth(here)["units"])


def closed(here: Place) -> list[int]:
    """The stages that are really closed, per unit, as bits."""
    return [unit["closed"] for unit in truth(here)["units"]]


def settled(here: Place) -> list[int]:
    """The stages that are closed once they have not changed for a while: volts settle after a ramp, levels follow."""

    def same() -> list[int]:
        rows = [[unit["closed"] for unit in row["units"]] for row in truths(here)[-STILL:]]
        return rows[-1] if len(rows) == STILL and all(row == rows[-1] for row in rows) else []

    return until(same, 30.0)  # type: ignore[no-any-return]


class Console:
    """A process that is typed at, and what it has said."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self.process, self.said = process, ""
        self._thread = threading.Thread(target=self._hear, daemon=True)
        self._thread.start()

    def _hear(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.said += line

    def type(self, line: str) -> None:
        """A line and Enter."""
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def until(self, words: str, limit_s: float = ON_S) -> None:
        """Until it has said that."""
        try:
            until(lambda: words in self.said, limit_s)
        except AssertionError:
            raise AssertionError(f"not said within {limit_s:.0f} s: {words}\n{self.said}") from None

    def end(self, limit_s: float = PATIENCE_S) -> int:
        """Its exit code."""
        code = self.process.wait(limit_s)
        self._thread.join(limit_s)
        return code


def console(here: Place, *words: str) -> Console:
    """A verb that is typed at through a pipe."""
    return Console(here.start("benchctl", *words, stdin=subprocess.PIPE))


def started(here: Place, *words: str, hold: str = "10 min") -> Console:
    """An unattended run that has its load on."""
    program = short_program(here.folder, hold)
    run = console(here, "run", str(program), "--site", str(here.site), "--confirmed", "--operator", "tester", *words)
    return _with_load(here, run)


def attended(here: Place, *words: str, hold: str = "10 min") -> Console:
    """A run whose operator has typed a name; it has its load on."""
    run = console(here, "run", str(short_program(here.folder, hold)), "--site", str(here.site), *words)
    run.until("Type your name")
    run.type("Robin")
    return _with_load(here, run)


def _with_load(here: Place, run: Console) -> Console:
    until(lambda: loaded(here) or run.process.poll() is not None, ON_S)
    assert run.process.poll() is None, run.said
    run.until("segment 2: hold")
    return run


def kill_host(here: Place) -> int:
    """kill -9 for the run host; returns the process that it was."""
    pid = here.host_pid()
    assert pid is not None
    os.kill(pid, signal.SIGKILL)
    until(lambda: not _lives(pid))
    return pid


def _lives(pid: int) -> bool:
    stat = Path(f"/proc/{pid}/stat")
    return stat.exists() and stat.read_text().rpartition(")")[2].split()[0] != "Z"


def log(here: Place) -> str:
    """What the run host has told its log."""
    return (here.folder / "runs" / "small.log").read_text(encoding="utf-8")


def records(here: Place) -> list[Path]:
    """The runs' records, in the order in which they began."""
    return sorted((here.folder / "runs").glob("*.run"), key=lambda path: path.stem.split("-")[-2:])


def outcome(path: Path) -> str:
    """How a run ended."""
    with Reader(path) as reader:
        assert reader.end is not None
        return reader.end.outcome


def told(path: Path) -> list[str]:
    """The events of a record, as lines."""
    with Reader(path) as reader:
        return [f"{event.kind}: {event.text}" + (f" ({event.who})" if event.who else "") for event in reader.events()]
