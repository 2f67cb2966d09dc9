"""How long and how much memory assess and report take for long records, and how large the report's files are.

The records are made by the recorder itself: a short rehearsal over real frames (begin, a few minutes of a hold, end)
whose hold is played again and again until the run has its length, and whose units are there several times over. Rows
of scans are packed once and get their own number and times; chains, states, events and the seal are made as always.
Each command runs in a process of its own, whose wall clock, processor time and largest resident memory (getrusage) are
told.

Goals: 4 h with 10 units at two scans a second: assess 2 s, PDF 3 s, HTML 2 MB. 24 h with 200 units: 1 GiB.
"""

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from benchctl.core.decision import Event, Frame, Settings
from benchctl.core.program import Block, Hold, LoadIs, Program, Ramp, Rounding, Target
from benchctl.core.site import Endpoint, Site
from benchctl.files import read_site
from benchctl.record.recorder import Recorder
from benchctl.record.rows import Packer, nanoseconds
from benchctl.rehearsal import Rehearsal
from tests.bench.figures import machine

RULE_SETS = ("nfpa110-acceptance", "nfpa110-36-month", "iso8528-g2", "mil608")
WALL_S = 1_790_000_000.0
HOLD_S, FROM_S, UNTIL_S = 420.0, 60.0, 360.0  # of the last hold as rehearsed, and the part of it that is played again
READING_S = 900.0
LONG = "full load"
REHEARSED = 10  # units at most: of more, each of these is there several times
MIB = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Size:
    """One record to make, and what is asked of it (seconds, bytes; None = nothing is)."""

    hours: float
    units: int
    assess_s: float | None = None
    pdf_s: float | None = None
    html_bytes: int | None = None
    memory_bytes: int | None = None

    @property
    def name(self) -> str:
        """For tables."""
        return f"{self.hours:g} h, {self.units} units"


SIZES = (
    Size(4.0, 10, 2.0, 3.0, 2 * MIB),
    Size(24.0, 200, memory_bytes=1024 * MIB),
)
QUICK = (Size(0.25, 3, 2.0, 3.0, 2 * MIB),)


def site(count: int) -> Site:
    """The data hall with so many units, each with an address of its own."""
    place, _ = read_site("alder-ridge")
    unit, plate = place.units[0], place.nameplate
    units = tuple(replace(unit, name=f"bank {i}", endpoint=Endpoint("127.0.0.1", 20000 + i)) for i in range(count))
    power_kw = 100.0 * min(count, REHEARSED)
    return replace(place, nameplate=replace(plate, power_kw=power_kw, apparent_kva=power_kw / 0.8), units=units)


def many(frame: Frame, times: int) -> Frame:
    """A frame of so many times the units: each is there again and again, with its own words, orders and state."""
    decision, inputs = frame.decision, frame.inputs
    state = decision.state.copy()
    state.units = state.units * times
    orders = replace(decision.orders, units=decision.orders.units * times)
    return replace(
        frame,
        inputs=replace(inputs, units=inputs.units * times, writes=inputs.writes * times),
        decision=replace(decision, state=state, orders=orders),
        writes=frame.writes * times,
        sweep=replace(frame.sweep, units=frame.sweep.units * times),
    )


def program(hold_s: float) -> Program:
    """A warm-up, some blocks, and a long hold at 100 %, with readings."""
    blocks = tuple(part for percent in (25, 50, 0) for part in (Block(Target(percent, percent=True)), Hold(40.0)))
    return Program(
        "long",
        "A long hold",
        (
            Ramp(Target(30, percent=True), 60.0),
            Hold(120.0, label="warming up"),
            Ramp(Target(0.0), 10.0),
            Hold(30.0),
            *blocks,
            Ramp(Target(100, percent=True), 60.0),
            Hold(hold_s, label=LONG),
            Ramp(Target(0.0), 30.0),
        ),
        load_is=LoadIs.SOURCE_TOTAL,
        rounding=Rounding.NEAREST,
        check_load=False,
        reading_interval_s=READING_S,
        readings=("oil_kpa", "coolant_c"),
        rule_sets=RULE_SETS,
        source_cooldown_s=300.0,
    )


class Played(Packer):
    """Packs each rehearsed frame once."""

    def __init__(self) -> None:
        super().__init__()
        self._rows: dict[int, tuple[Any, ...]] = {}

    def scan(self, frame: Frame) -> tuple[Any, ...]:
        """The row of a frame, with the number and the times that it has now."""
        key = id(frame.decision.state)
        if key not in self._rows:
            self._rows[key] = super().scan(frame)
        _, _, _, *rest = self._rows[key]
        return (frame.number, nanoseconds(frame.wall_s), frame.inputs.now_s, *rest)


def rehearsed(place: Site) -> list[Frame]:
    """The frames of the short program."""
    made: list[Frame] = []
    Rehearsal(Settings.of(place, program(HOLD_S)), wall_s=WALL_S, listeners=(made.append,)).run()
    return made


def played(made: Sequence[Frame], length_s: float) -> Iterator[Frame]:
    """The rehearsed frames with a part of the long hold again and again, until the whole has its length."""
    long_s = max(f.inputs.now_s for f in made for e in f.decision.events if e.kind == "segment" and LONG in e.text)
    first, last = (next(i for i, f in enumerate(made) if f.inputs.now_s >= long_s + s) for s in (FROM_S, UNTIL_S))
    part_s = made[last].inputs.now_s - made[first].inputs.now_s
    times = max(1, round((length_s - made[-1].inputs.now_s) / part_s))
    order = [*range(last), *(i for _ in range(times) for i in range(first, last)), *range(last, len(made))]
    taken, taken_s, shift_s = 1000, long_s, 0.0
    for number, (before, i) in enumerate(pairwise([-1, *order])):
        frame = made[i]
        shift_s += part_s if i <= before else 0.0
        now_s = frame.inputs.now_s + shift_s
        decision = frame.decision
        if i >= first and now_s - taken_s >= READING_S:
            taken, taken_s = taken + 1, now_s
            decision = replace(decision, events=(*decision.events, reading(taken)))
        inputs = replace(frame.inputs, now_s=now_s)
        yield replace(frame, number=number, wall_s=WALL_S + now_s, inputs=inputs, decision=decision)


def reading(number: int) -> Event:
    """A reading that a person has typed."""
    values = (("oil_kpa", 420.0), ("coolant_c", 84.0 + number % 3))
    return Event("reading", f"reading {number}", who="operator", data=(("number", number), ("taken_s", 5.0), *values))


def record(folder: Path, size: Size) -> Path:
    """A closed and sealed record of that size."""
    place = site(size.units)
    few = min(size.units, REHEARSED)
    made = [many(frame, size.units // few) for frame in rehearsed(site(few))]
    length_s = 3600.0 * size.hours
    recorder = Recorder(
        folder / f"long-{size.units}.run", Settings.of(place, program(max(HOLD_S, length_s - 600.0))), {}, ()
    )
    recorder._book._packer = Played()
    for frame in played(made, length_s):
        recorder.write(frame)
    if not recorder.close("completed", {"delivered_peak_kw": place.nameplate.power_kw}):
        raise RuntimeError(recorder.problem)
    return recorder.path


def child(*words: str) -> dict[str, float]:
    """Run a command; its wall clock, processor time and largest resident memory."""
    begun_s = time.perf_counter()
    process = os.posix_spawn(
        sys.executable,
        [sys.executable, *words],
        os.environ,
        file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)],
    )
    _, status, used = os.wait4(process, 0)
    wall_s = time.perf_counter() - begun_s
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        raise RuntimeError(f"{' '.join(words)} has failed")
    unit = 1 if sys.platform == "darwin" else 1024
    return {
        "wall_s": round(wall_s, 3),
        "cpu_s": round(used.ru_utime + used.ru_stime, 3),
        "memory_mib": round(used.ru_maxrss * unit / MIB, 1),
    }


def pdf(path: str, out: str) -> None:
    """What it takes to have the PDF alone, from the record."""
    from benchctl.report.content import content
    from benchctl.report.figures import attachments, tables
    from benchctl.report.make import LONGEST_INSIDE, open_run
    from benchctl.report.typeset import typeset

    dossier = open_run(Path(path))
    samples = Path(out) / "samples.csv"
    with samples.open("w", encoding="utf-8", newline="") as stream:
        for (text,) in tables(dossier):
            stream.write(text)
    inside = attachments(dossier, samples, LONGEST_INSIDE)
    made = typeset(content(dossier, tuple(a.name for a in inside)), inside, "a4", dossier.begun)
    (Path(out) / "alone.pdf").write_bytes(made)


def measured(path: Path, out: Path, again: int) -> dict[str, Any]:
    """Each command, the best of some times, and the sizes of the files."""
    asked = {
        "assess": ("-m", "benchctl", "assess", str(path), "--brief"),
        "pdf alone": ("-m", "tests.bench.proof", "pdf", str(path), str(out)),
        "report": ("-m", "benchctl", "report", str(path), "--out", str(out)),
        "verify": ("-m", "benchctl", "verify", str(path)),
    }
    found: dict[str, Any] = {"record_bytes": path.stat().st_size}
    for name, words in asked.items():
        found[name] = min((child(*words) for _ in range(again)), key=lambda one: one["wall_s"])
    found["files"] = {file.name: file.stat().st_size for file in sorted(out.glob(f"{path.stem}*"))}
    return found


def missed(size: Size, found: dict[str, Any]) -> list[str]:
    """Which goals are missed."""
    html = next(bytes_ for name, bytes_ in found["files"].items() if name.endswith(".html"))
    memory = max(found[name]["memory_mib"] for name in ("assess", "report")) * MIB
    rows = (
        ("assess", found["assess"]["wall_s"], size.assess_s, "s"),
        ("PDF", found["pdf alone"]["wall_s"], size.pdf_s, "s"),
        ("HTML", html, size.html_bytes, "bytes"),
        ("memory", memory, size.memory_bytes, "bytes"),
    )
    return [f"{name}: {value:g} {unit}, goal {goal:g}" for name, value, goal, unit in rows if goal and value > goal]


def run(rest: Sequence[str], *, quick: bool) -> dict[str, Any]:
    """Make the records and measure; prints a table."""
    parser = argparse.ArgumentParser("python -m tests.bench proof", description=__doc__)
    parser.add_argument("--again", type=int, default=1 if quick else 3, help="runs of each command; the best counts")
    parser.add_argument("--only", type=int, help="only the size with so many units")
    args = parser.parse_args(rest)
    found: dict[str, Any] = {"machine": machine(), "sizes": {}}
    for size in QUICK if quick else SIZES:
        if args.only not in (None, size.units):
            continue
        with tempfile.TemporaryDirectory(prefix="benchctl-proof-") as folder:
            begun_s = time.perf_counter()
            path = record(Path(folder), size)
            print(f"{size.name}: {path.stat().st_size / MIB:.0f} MiB made in {time.perf_counter() - begun_s:.0f} s")
            told = measured(path, Path(folder), args.again)
        for name in ("assess", "pdf alone", "report", "verify"):
            one = told[name]
            print(f"  {name:<10} {one['wall_s']:>8.2f} s  {one['cpu_s']:>8.2f} s cpu  {one['memory_mib']:>8.0f} MiB")
        for name, bytes_ in told["files"].items():
            print(f"  {name:<24} {bytes_ / MIB:>8.2f} MiB")
        told["missed"] = missed(size, told)
        print("  goals: " + ("; ".join(told["missed"]) or "met"))
        found["sizes"][size.name] = told
    return found


if __name__ == "__main__":
    pdf(*sys.argv[2:])
