"""A small invented place on free ports, quick enough to be run in real time: two banks, a meter at the source."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from pathlib import Path

from benchctl.files import DiskShelf

PATIENCE_S = 60.0

SITE = """
title: Small place (invented)
source:
  name: small set
  kind: generating set
  power: 160 kW
  apparent: 200 kVA
  power_factor: 0.8
  volts: 400
  hertz: 50
  wiring: three-phase four-wire
  rating_class: ESP
  isochronous: true
units:
  - {name: bank 1, profile: quick-100, at: 127.0.0.1:PORT1}
  - {name: bank 2, profile: quick-100, at: 127.0.0.1:PORT2}
instruments:
  - name: source meter
    profile: float-meter
    place: source
    at: 127.0.0.1:PORT3
    transformers: {primary_a: 400, secondary_a: 5, applied: true}
ambient_c: 20
limits: {largest_block_up_percent: 100, largest_block_down_percent: 100, settle_s: 1}
"""

PROGRAM = """
title: Short
check_load: false
segments:
  - ramp: {to: 40 kW, over: 2 s}
  - hold: {for: HOLD}
"""


def free_ports(count: int) -> list[int]:
    """Ports that nobody listens on now."""
    probes = [socket.socket() for _ in range(count)]
    for probe in probes:
        probe.bind(("127.0.0.1", 0))
    ports = [probe.getsockname()[1] for probe in probes]
    for probe in probes:
        probe.close()
    return ports


def small_site(folder: Path, *, more: str = "attendance: {unattended: allowed}", watchdog: str = "4 s") -> Path:
    """Write the place's site file and its banks' profile; returns the site file."""
    unit = DiskShelf().open("unit", "coil-100").text
    for old, new in (
        ("proof: 8 s", "proof: 1 s"),
        ("time: 15 s, fed_by: any request, feed_every: 5 s", f"time: {watchdog}, fed_by: any request, feed_every: 1 s"),
        ("minimum: 5 min, margin_k: 10, near: 30 s", "minimum: 30 s, margin_k: 120, near: 1 s"),
    ):
        assert old in unit
        unit = unit.replace(old, new)
    (folder / "units").mkdir(exist_ok=True)
    (folder / "units" / "quick-100.yaml").write_text(unit, encoding="utf-8")
    (folder / "sites").mkdir(exist_ok=True)
    text = SITE + more + "\n"
    for i, port in enumerate(free_ports(3), 1):
        text = text.replace(f"PORT{i}", str(port))
    path = folder / "sites" / "small.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def short_program(folder: Path, hold: str = "5 s") -> Path:
    """A ramp to 40 kW and a hold."""
    path = folder / "short.yaml"
    path.write_text(PROGRAM.replace("HOLD", hold), encoding="utf-8")
    return path


class Place:
    """A folder with a site, and processes around it that are ended with it."""

    def __init__(self, folder: Path, **kinds: str) -> None:
        self.folder = folder
        self.site = small_site(folder, **kinds)
        self.env = os.environ | {
            "BENCHCTL_RUNS": str(folder / "runs"),
            "BENCHCTL_STATE": str(folder / "state"),
            "PYTHONUNBUFFERED": "1",
        }
        self.truth = folder / "truth.jsonl"
        self.started: list[subprocess.Popen[str]] = []

    def start(self, *words: str, stdin: int = subprocess.DEVNULL) -> subprocess.Popen[str]:
        """Start `python -m` something."""
        process = subprocess.Popen(
            [sys.executable, "-m", *words],
            stdin=stdin,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=self.folder,
            env=self.env,
        )
        self.started.append(process)
        return process

    def simulator(self) -> subprocess.Popen[str]:
        """The chain, listening."""
        process = self.start("simulator", str(self.site), "--truth", str(self.truth))
        assert process.stderr is not None
        said = ""
        for line in process.stderr:
            said += line
            if line.startswith("ready"):
                until(lambda: self.truth.read_text().endswith("\n"))
                return process
        raise AssertionError(f"the simulator does not come up: {said}")

    def verb(self, *words: str, timeout_s: float = PATIENCE_S) -> subprocess.CompletedProcess[str]:
        """A verb to its end."""
        return subprocess.run(
            [sys.executable, "-m", "benchctl", *words], capture_output=True, text=True, check=False, timeout=timeout_s,
            cwd=self.folder, env=self.env, stdin=subprocess.DEVNULL,
        )  # fmt: skip

    def host_pid(self, log_name: str = "small.log") -> int | None:
        """The process of the run host, by its log."""
        log = self.folder / "runs" / log_name
        found = re.findall(r"process (\d+)", log.read_text()) if log.exists() else []
        return int(found[-1]) if found else None

    def end(self) -> None:
        """End what was started here."""
        pids = [p.pid for p in self.started if p.poll() is None]
        hosts = [self.host_pid(), self.host_pid("small-rehearsal.log")]
        for pid in [*filter(None, hosts), *pids]:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        for process in self.started:
            process.communicate(timeout=PATIENCE_S)


@contextmanager
def place(folder: Path, **kinds: str):
    """A place whose processes are gone at the end."""
    here = Place(folder, **kinds)
    try:
        yield here
    finally:
        here.end()


def until(test, limit_s: float = PATIENCE_S, every_s: float = 0.05):
    """Look until it is so; returns what it was. An upper bound only: nothing is measured by it."""
    begun_s = time.monotonic()
    while time.monotonic() - begun_s < limit_s:
        found = test()
        if found:
            return found
        time.sleep(every_s)
    raise AssertionError(f"not within {limit_s:.0f} s")
