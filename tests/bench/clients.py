"""How far clients that are stopped, deaf or killed move the scans of a real run host from their grid.

Real processes on loopback: a simulated chain, a run host with a run in hand and its record, one client that follows it,
and then many more that do nothing any more. The recorded time of a scan (when its readings are complete) is compared
with the grid of the scan period, whose phase is the median of the minute without further clients: the reference.
The goal is a tenth of the period.
"""

import argparse
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

from benchctl.record.reader import Reader
from tests.bench.figures import machine, percentile, pin, summary
from tests.system.small import Place, place, short_program, until

COUNT, KILLS = 20, 5  # clients; processes of them that are killed one after the other
ON_S = 15.0  # a start's time until load is on
SETTLE_S = 2.0
Span = tuple[float, float]  # of clock time


@contextmanager
def guests(here: Place, kind: str, count: int = COUNT) -> Iterator[subprocess.Popen[str]]:
    """Attached clients, while their process lives."""
    words = [str(here.folder / "state" / "hosts"), "small", str(count), kind]
    process = here.start("tests.bench.guests", *words)
    assert process.stdout is not None
    try:
        if process.stdout.readline() != "in\n":
            raise RuntimeError(f"clients cannot attach: {process.communicate()[1]}")
        yield process
    finally:
        process.kill()
        process.wait()


def spend(seconds: float) -> Span:
    """Let a time pass; returns its begin and end."""
    begun_s = time.time()
    time.sleep(seconds)
    return begun_s, time.time()


def spans(here: Place, seconds: float) -> dict[str, Span]:
    """Let a time pass in each of the circumstances."""
    found = {"one client": spend(seconds)}
    with guests(here, "reading") as process:
        time.sleep(SETTLE_S)
        found[f"and {COUNT} that read"] = spend(seconds)
        process.send_signal(signal.SIGSTOP)
        found[f"and {COUNT} stopped"] = spend(seconds)
        process.kill()
    with guests(here, "deaf"):
        found[f"and {COUNT} deaf"] = spend(seconds)
    with (
        ExitStack() as held
    ):  # attached before: a process that starts takes more of the machine than one that is killed
        dying = [held.enter_context(guests(here, "reading", COUNT // KILLS)) for _ in range(KILLS)]
        time.sleep(SETTLE_S)
        begun_s = time.time()
        for process in dying:
            process.kill()
            time.sleep(seconds / KILLS)
        found[f"and {COUNT} killed in turn"] = begun_s, time.time()
    found["one client again"] = spend(seconds)
    return found


def offsets(path: Path, spans_s: dict[str, Span]) -> tuple[float, dict[str, list[float]]]:
    """The scan period, and each circumstance's scans against the grid of the first one, in seconds."""
    with Reader(path) as reader:
        times = [(s.wall_ns / 1e9, s.now_s) for s in reader.scans()]
    period_s = round(percentile([b[1] - a[1] for a, b in pairwise(times)], 50), 2)
    within = {name: [now for wall, now in times if a <= wall < b] for name, (a, b) in spans_s.items()}
    start_s = next(iter(within.values()))[0]

    def offset(now_s: float, phase_s: float) -> float:
        return (now_s - start_s - phase_s + period_s / 2) % period_s - period_s / 2

    phase_s = percentile([offset(n, 0.0) for n in next(iter(within.values()))], 50)
    return period_s, {name: [offset(n, phase_s) for n in them] for name, them in within.items()}


def run(words: list[str], *, quick: bool) -> dict[str, Any]:
    """All circumstances in one run; returns the figures."""
    parser = argparse.ArgumentParser("python -m tests.bench clients")
    parser.add_argument("--seconds", type=float, default=6.0 if quick else 60.0, help="in each circumstance")
    asked = parser.parse_args(words)
    where = machine()
    with tempfile.TemporaryDirectory() as folder, place(Path(folder)) as here:
        here.env["PYTHONPATH"] = str(Path(__file__).parents[2])
        pin(0)
        here.simulator()
        pin(1)
        program = short_program(here.folder, "1 h")
        followed = here.start("benchctl", "run", str(program), "--site", str(here.site), "--confirmed",
                              "--operator", "bench")  # fmt: skip
        until(lambda: here.truth.read_text().count("\n") > 10 or followed.poll() is not None)
        time.sleep(ON_S)
        if followed.poll() is not None:
            raise RuntimeError(f"the run has ended: {followed.communicate()[1]}")
        pin(0)
        found = spans(here, asked.seconds)
        followed.kill()
        (path,) = (here.folder / "runs").glob("*.run")
        period_s, scans = offsets(path, found)
    reference = None
    rows = []
    print(
        f"period {1e3 * period_s:g} ms; offsets of scans from their grid in ms, share of the period in %",
        file=sys.stdout,
    )
    for name, them in scans.items():
        size = summary([abs(o) for o in them])
        reference = reference or size["p99_ms"]
        share = round(size["max_ms"] / period_s / 10.0, 2)
        rows.append({"clients": name, "offset": size, "largest_percent_of_period": share,
                     "p99_ratio": round(size["p99_ms"] / reference, 2)})  # fmt: skip
        print(f"{name:32} scans {size['count']:4}  p50 {size['median_ms']:7.2f}  p90 {size['p90_ms']:7.2f}  "
              f"p99 {size['p99_ms']:7.2f}  max {size['max_ms']:7.2f} = {share:.1f} %")  # fmt: skip
    return {"benchmark": "clients", "machine": where, "scan_period_s": period_s, "rows": rows}
