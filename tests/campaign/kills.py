"""Run hosts that are killed: `python -m tests.campaign kills --count 1000`.

A run host's engine, session and recorder, each in its thread, on simulated units, twenty times quicker than real; at a
random instant the process gets kill -9. What it had told until then it has written beside, a line a scan, with what was
physically true. Then it is judged: the record opens, at most one second of scans is missing, it is closed and sealed,
it replays; with power gone as well (`power`); and a new session on the world as it was left says what is on and cools
what is hot (`after`).
"""

import argparse
import asyncio
import hashlib
import json
import os
import signal
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from benchctl.controller.news import News
from benchctl.controller.owner import Owner
from benchctl.controller.recent import Recent
from benchctl.controller.requests import Requests
from benchctl.controller.session import Session
from benchctl.controller.terms import Terms
from benchctl.controller.world import World
from benchctl.core.decision import Frame, Settings
from benchctl.door import messages as m
from benchctl.door.house import Guest
from benchctl.engine import Engine
from benchctl.files import read_site
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.recover import close_all_interrupted
from benchctl.record.replay import replay
from benchctl.record.runs import runs_in
from benchctl.record.verify import verify
from benchctl.rehearsal import RehearsedChain
from simulator.warp import WarpLoop
from tests.campaign.after import Left, next_start
from tests.campaign.power import power_loss
from tests.system.small import small_site

PACE = 20.0  # virtual seconds a real one
LONGEST_S = 2.5  # real, from its beginning to the kill
LOST_S = 1.0
KIM = Guest(1, "Kim", "console", "0", 0.0, 0.0)
PROGRAM = """
title: Killed
check_load: false
segments:
  - ramp: {{to: {first} kW, over: 2 s}}
  - hold: {{for: {hold} s}}
  - block: {{to: {second} kW}}
  - hold: {{for: {hold} s}}
  - ramp: {{to: 0 kW, over: 2 s}}
"""


@dataclass(slots=True)
class Tally:
    """What many kills have shown. wrong: what must not be."""

    kills: int = 0
    records: int = 0
    unborn: int = 0  # killed while the file was being made: nothing had been told of it
    loaded: int = 0  # killed with load on
    hot: int = 0  # next starts with something to cool
    scans: int = 0
    powers: int = 0  # imitated losses of power
    most_lost_s: float = 0.0
    most_lost: int = 0
    wrong: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return (
            f"{self.kills} kills, {self.records} records with {self.scans} scans, {self.unborn} killed in the making, "
            f"{self.loaded} with load on, {self.hot} next starts with something to cool, {self.powers} power losses; "
            f"at most {self.most_lost} scans and {self.most_lost_s:.3f} s lost; {len(self.wrong)} wrong"
        )


def kill_once(folder: Path, seed: int, tally: Tally) -> None:
    """One run host from its beginning to its kill, and the judgement."""
    random = Random(f"kill {seed}")
    folder.mkdir(parents=True)
    site_file = small_site(folder)
    wait_s = random.uniform(0.0, LONGEST_S)
    program = PROGRAM.format(
        first=random.choice((10, 40)), second=random.choice((60, 100)), hold=random.choice((3, 20, 60))
    )
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            asyncio.run(_host(folder, site_file, program, seed))
            code = 0
        finally:
            os._exit(code)
    time.sleep(wait_s)
    os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    tally.kills += 1
    if os.waitstatus_to_exitcode(status) == 1:
        tally.wrong.append(f"kill {seed}: the run host had ended by itself")
    _judge(folder, site_file, seed, random, tally)


# -- what is killed


async def _host(folder: Path, site_file: Path, program: str, seed: int) -> None:
    """A run host without its door: engine in a thread, a session with live records, the requests of one console."""
    site, files = read_site(str(site_file))
    given = Terms(site, files, 0.5, folder / "runs", folder / "state", reserve_bytes=4096)
    session = Session(given, lambda _: None)
    recent = Recent(site)
    told = os.open(folder / "told", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    loop = asyncio.get_running_loop()
    chains: list[RehearsedChain] = []

    def tell(frame: Frame) -> None:
        world = chains[0].bench
        line = {
            "n": frame.number,
            "real_s": time.monotonic(),
            "t": world.now_s,
            "run": str(session.current.recorder.path) if session.current else "",
            "units": [Left.of(bank).row() for bank in world.banks],
        }
        os.write(told, json.dumps(line).encode() + b"\n")

    def engine(settings: Settings, chain: Any) -> Engine:
        inside = asyncio.get_running_loop()
        listeners = (
            lambda frame: session.write(frame, made.settings),
            lambda frame: recent.listen(frame, session.current),
            tell,
            lambda frame: news.put(frame, made.settings),
        )
        made: Engine = Engine(settings, chain, inside.time, listeners, session.health)
        return made

    def chain(inside: asyncio.AbstractEventLoop) -> RehearsedChain:
        chains.append(RehearsedChain(site, inside, None, seed))
        return chains[0]

    owner = Owner(Settings.of(site, None, 0.5), lambda: WarpLoop(pace=PACE), chain, engine)
    world = World(given, lambda: owner, 20.0)
    requests = Requests(owner, session, lambda _: None, recent, world, answer_s=20.0)
    news = News(loop, requests.frame, lambda _: None, requests.answered)
    owner.start()
    await requests.receive(KIM, m.Order(id=1, verb="take charge"))
    sha256 = hashlib.sha256(program.encode()).hexdigest()
    await requests.receive(KIM, m.Program(id=2, name="killed", text=program, sha256=sha256))
    await requests.receive(KIM, m.Order(id=3, verb="start", text=sha256))
    await asyncio.sleep(60.0)


# -- the judgement


def _told(folder: Path) -> list[dict[str, Any]]:
    """The whole lines of what it had told."""
    path = folder / "told"
    text = path.read_text() if path.exists() else ""
    return [json.loads(line) for line in text.split("\n")[:-1]]


def _judge(folder: Path, site_file: Path, seed: int, random: Random, tally: Tally) -> None:
    told, where = _told(folder), f"kill {seed}"
    site, _ = read_site(str(site_file))
    for path in runs_in(folder / "runs"):
        mine = [row for row in told if row["run"] == str(path)]
        try:
            with Reader(path) as reader:
                last = max((scan.n for scan in reader.scans()), default=-1)
        except RecordFault as fault:
            if mine:
                tally.wrong.append(f"{where}: {len(mine)} scans were told, and the record does not open: {fault}")
            tally.unborn += 1
            continue
        tally.records += 1
        _lost(mine, last, where, tally)
        done, wrong = power_loss(path, folder / "power", random)
        tally.powers += done
        tally.wrong += [f"{where}: {text}" for text in wrong]
    close_all_interrupted(folder / "runs", site.name)
    for path in runs_in(folder / "runs"):
        _whole(path, where, tally)
    if told:
        tally.loaded += any(row["closed"] for row in told[-1]["units"])
        hot, wrong = next_start(site, [Left(**row) for row in told[-1]["units"]], random)
        tally.hot += hot
        tally.wrong += [f"{where}: {text}" for text in wrong]


def _lost(mine: list[dict[str, Any]], last: int, where: str, tally: Tally) -> None:
    """Scans that were told for longer than a second and are not in the record."""
    if not mine:
        return
    missing = [row for row in mine if row["n"] > last]
    if missing:
        lost_s = mine[-1]["real_s"] - missing[0]["real_s"]
        tally.most_lost, tally.most_lost_s = max(tally.most_lost, len(missing)), max(tally.most_lost_s, lost_s)
        if lost_s > LOST_S:
            tally.wrong.append(f"{where}: {len(missing)} scans of {lost_s:.2f} s are lost")


def _whole(path: Path, where: str, tally: Tally) -> None:
    """Closed, sealed, intact, and it replays."""
    try:
        found = verify(path)
        with Reader(path) as reader:
            count, end, again = reader.scan_count, reader.end, replay(reader)
    except RecordFault as fault:
        if path.stat().st_size:
            tally.wrong.append(f"{where}: {fault}")
        return
    tally.scans += count
    if not (found.intact and found.sealed) or end is None:
        tally.wrong.append(f"{where}: not closed as it should be: {found.altered[:1]} {found.notes[:1]}")
    if again.difference is not None:
        tally.wrong.append(f"{where}: replayed, scan {again.difference.scan} differs: {again.difference.lines[:2]}")


def kills(count: int, first: int = 0, minutes: float = float("inf")) -> Tally:
    """So many kills, or as many as fit."""
    tally, begun_s = Tally(), time.monotonic()
    for seed in range(first, first + count):
        if time.monotonic() - begun_s > minutes * 60.0:
            break
        with tempfile.TemporaryDirectory(prefix="kill-") as folder:
            kill_once(Path(folder) / "bench", seed, tally)
    return tally


def main(words: list[str]) -> int:
    """What the command line asks."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign kills")
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--minutes", type=float, default=float("inf"))
    args = parser.parse_args(words)
    tally = kills(args.count, args.first, args.minutes)
    for text in tally.wrong[:50]:
        print(text)
    print(tally)
    return 1 if tally.wrong else 0
