"""How long snapshots of many benches take through one broker to one listener, and what is lost on the way.

Real processes on loopback: Debian's mosquitto, publishers as they are shipped (fifty benches a process, each with a
thread and a connection of its own), one listener that parses all of it. A snapshot says when it was handed over, to the
millisecond and cut off, so a latency is up to 1 ms less than what is told here. Lost is what is missing in the numbers.
"""

import argparse
import asyncio
import contextlib
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import aiomqtt

from benchctl.core.decision import Frame
from benchctl.core.snapshot import snapshot
from benchctl.files.broker import Broker
from benchctl.mqtt.given import Heard, Terms, Told
from benchctl.mqtt.publisher import Publisher
from tests.bench.figures import machine, summary
from tests.core.worlds import site, staged
from tests.door.rooms import Kept
from tests.mqtt.mosquitto import Mosquitto

BENCHES, UNITS, A_PROCESS = 200, 20, 50
EVENT_S = 10.0  # from one event of a bench to the next
SETTLE_S = 8.0
TICKS = os.sysconf("SC_CLK_TCK") if hasattr(os, "sysconf") else 100


@dataclass
class Listened:
    """What has come, while it was measured."""

    latencies_s: list[float] = field(default_factory=list)
    events_s: list[float] = field(default_factory=list)
    octets: int = 0
    count: Counter[str] = field(default_factory=Counter)
    numbers: dict[tuple[str, str], list[int]] = field(default_factory=dict)  # of a session and a kind
    measuring: bool = False

    def hear(self, topic: str, payload: bytes) -> None:
        """One message."""
        now_s = time.time()
        found = json.loads(payload)
        kind = topic.split("/")[3]
        if not self.measuring or kind not in ("snapshot", "event"):
            return
        self.count[kind] += 1
        self.octets += len(payload)
        late_s = now_s - datetime.fromisoformat(found["sent_at"]).timestamp()
        (self.latencies_s if kind == "snapshot" else self.events_s).append(late_s)
        self.numbers.setdefault((found["session"], kind), []).append(found["seq"])

    def lost(self, kind: str) -> int:
        """Numbers that are missing between the first and the last that came of each bench."""
        runs = [numbers for (_, of), numbers in self.numbers.items() if of == kind]
        return sum(max(n) - min(n) + 1 - len(set(n)) for n in runs)

    def doubled(self, kind: str) -> int:
        """Messages that came twice."""
        return sum(len(n) - len(set(n)) for (_, of), n in self.numbers.items() if of == kind)


def publish(port: int, first: int, count: int) -> None:
    """A process of benches, until its standard input ends."""
    place = site(*[staged(20, 40, own=True)] * UNITS, nameplate_kw=1500.0)
    made = Kept(place)
    made.loaded(600.0)
    shown = snapshot(Frame(7, time.time(), made.inputs, made.last, ()), made.settings)
    terms = Terms(rehearsal=False, version="0", snapshot_s=1.0, scan_period_s=0.5)
    benches = []
    for k in range(first, first + count):
        broker = Broker("127.0.0.1", port, bench=f"bench {k}")
        benches.append(Publisher(broker, place, terms, log=lambda line: print(line, file=sys.stderr)))
    over = threading.Event()

    def wait() -> None:
        sys.stdin.read()
        over.set()

    threading.Thread(target=wait, daemon=True).start()
    for bench in benches:
        bench.start()
        time.sleep(1.0 / count)  # so that they do not all speak in the same moment
    number, begun_s = 0, time.monotonic()
    while not over.wait(max(0.0, begun_s + 0.5 * number - time.monotonic())):
        number += 1
        for k, bench in enumerate(benches):
            bench.show(Heard(replace(shown, number=number, wall_s=time.time()), "run"))
            if (number + k) % int(EVENT_S / 0.5) == 0:
                bench.tell(Told(number, time.time(), 0.0, "alarm", "an event", "bank 1"))
    for bench in benches:
        bench.close("the benchmark is over", 0.0)


def spent_s(pid: int) -> float:
    """Processor time of a process."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


async def listen(port: int, seconds: float, pids: dict[str, list[int]]) -> tuple[Listened, dict[str, float]]:
    """Hear everything for a time; what was heard, and the share of a core that each kind of process took."""
    made = Listened()

    async def hear(client: aiomqtt.Client) -> None:
        async for message in client.messages:
            made.hear(str(message.topic), bytes(message.payload))

    async with aiomqtt.Client("127.0.0.1", port, protocol=aiomqtt.ProtocolVersion.V5) as client:
        await client.subscribe("benchctl/real/#", qos=1)
        task = asyncio.create_task(hear(client))
        await asyncio.sleep(SETTLE_S)
        before = {kind: sum(map(spent_s, them)) for kind, them in pids.items()}
        made.measuring = True
        await asyncio.sleep(seconds)
        made.measuring = False
        spent = {kind: (sum(map(spent_s, them)) - before[kind]) / seconds for kind, them in pids.items()}
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
    return made, {kind: round(share, 3) for kind, share in spent.items()}


def run(words: list[str], *, quick: bool) -> dict[str, Any]:
    """Measure; returns the figures."""
    parser = argparse.ArgumentParser("python -m tests.bench mqtt")
    parser.add_argument("--seconds", type=float, default=5.0 if quick else 60.0)
    parser.add_argument("--benches", type=int, default=20 if quick else BENCHES)
    asked = parser.parse_args(words)
    where = machine()
    publishers: list[subprocess.Popen[bytes]] = []
    with tempfile.TemporaryDirectory() as folder:
        broker = Mosquitto(Path(folder) / "m", quiet=True)
        broker.start()
        try:
            for first in range(0, asked.benches, A_PROCESS):
                count = min(A_PROCESS, asked.benches - first)
                code = f"from tests.bench.mqtt import publish; publish({broker.port}, {first}, {count})"
                publishers.append(subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE))
            assert broker.process is not None
            pids = {
                "broker": [broker.process.pid],
                "publishers": [p.pid for p in publishers],
                "listener": [os.getpid()],
            }
            found, spent = asyncio.run(listen(broker.port, asked.seconds, pids))
        finally:
            for process in publishers:
                with contextlib.suppress(subprocess.TimeoutExpired):
                    process.communicate(timeout=10.0)
                process.kill()
                process.wait()
            broker.kill()
    size = {"snapshots": summary(found.latencies_s), "events": summary(found.events_s)}
    lost = {kind: found.lost(kind) for kind in ("snapshot", "event")}
    doubled = {kind: found.doubled(kind) for kind in ("snapshot", "event")}
    benches = len({session for session, kind in found.numbers if kind == "snapshot"})
    rate = found.count["snapshot"] / asked.seconds
    print(f"{benches} of {asked.benches} benches × {UNITS} units heard, {rate:.1f} snapshots/s, "
          f"{found.octets / asked.seconds / 1e6:.2f} MB/s, for {asked.seconds:.0f} s")  # fmt: skip
    for kind, them in size.items():
        print(f"{kind:10} {them['count']:6}  p50 {them['median_ms']:7.2f}  p90 {them['p90_ms']:7.2f}  "
              f"p99 {them['p99_ms']:7.2f}  max {them['max_ms']:7.2f} ms")  # fmt: skip
    print(f"lost: {lost}; twice: {doubled}; cores: {spent}")
    return {
        "benchmark": "mqtt", "machine": where, "benches": benches, "units": UNITS, "snapshots_a_second": round(rate, 1),
        "octets_a_second": round(found.octets / asked.seconds), "latency": size, "lost": lost, "doubled": doubled,
        "cores": spent,
    }  # fmt: skip
