"""What of a run host's news goes to a broker; without a broker nothing does. In the loop of the clients."""

import asyncio
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchctl import __version__
from benchctl.controller.judged import judged
from benchctl.controller.terms import Terms
from benchctl.core.shown import Snapshot
from benchctl.door import messages as m
from benchctl.mqtt.given import Heard, Ran, Told
from benchctl.mqtt.given import Terms as Telling

if TYPE_CHECKING:
    from benchctl.mqtt.publisher import Publisher as Teller

LOOPBACK = ("127.0.0.1", "::1", "localhost")
KEYS = ("outcome", "run", "sealed", "problem")  # of an outcome; what else it holds are totals


class Broadcast:
    """log takes a line; say an event for those who are attached: both are called in the given loop."""

    def __init__(
        self,
        terms: Terms,
        loop: asyncio.AbstractEventLoop,
        log: Callable[[str], None],
        say: Callable[[m.Event], None],
    ) -> None:
        self._log, self._say, self._loop = log, say, loop
        self._run, self._scan = "", 0
        self._judging: set[asyncio.Task[None]] = set()
        self._publisher: Teller | None = None
        if terms.broker is not None:
            from benchctl.mqtt.publisher import Publisher  # a host without a broker does without the library

            telling = Telling(terms.rehearsal, __version__, terms.broker.snapshot_s, terms.scan_period_s)
            self._publisher = Publisher(
                terms.broker, terms.site, telling,
                log=lambda line: self._soon(log, line),
                say=lambda line: self._soon(self._heard_of, line),
            )  # fmt: skip
            if terms.broker.password and not terms.broker.tls and terms.broker.host not in LOOPBACK:
                log(f"{terms.broker}: the password goes there for everybody on the way to read; mqtts:// would hide it")

    def start(self) -> None:
        """Begin to look for the broker."""
        if self._publisher is not None:
            self._publisher.start()

    def show(self, shown: Snapshot, run: str) -> None:
        """A scan. run: path of the record that it belongs to, or empty."""
        if self._publisher is None:
            return
        name, self._scan = Path(run).stem, shown.number
        if name and name != self._run:
            self._publisher.ran(Ran(name, shown.wall_s, shown.program))
        self._run = name
        self._publisher.show(Heard(shown, name))

    def tell(self, event: m.Event) -> None:
        """An event."""
        if self._publisher is None:
            return
        data: dict[str, Any] = dict(event.data)
        if event.what == "outcome":
            data["run"] = Path(str(data["run"])).stem  # whoever listens has no use for our folders
            self._over(event)
        self._publisher.tell(
            Told(event.number, event.wall_s, event.now_s, event.what, event.text, event.unit, event.who, data)
        )

    async def end(self, why: str) -> None:
        """Tell what waits and say farewell, if the broker is there; takes a few seconds at most."""
        if self._publisher is None:
            return
        for task in tuple(self._judging):
            task.cancel()
            with suppress(asyncio.CancelledError):
                await task
        await asyncio.to_thread(self._publisher.close, why)
        await asyncio.sleep(0)  # what it has said last

    def _over(self, event: m.Event) -> None:
        data, path = event.data, Path(str(event.data["run"]))
        totals = {key: value for key, value in data.items() if key not in KEYS}
        ran = Ran(
            path.stem, event.wall_s, in_hand=False, outcome=str(data["outcome"]), sealed=bool(data["sealed"]),
            problem=str(data["problem"]), totals=totals,
        )  # fmt: skip
        self._known(ran)
        task = asyncio.create_task(self._judge(path, ran))
        self._judging.add(task)
        task.add_done_callback(self._judging.discard)

    async def _judge(self, path: Path, ran: Ran) -> None:
        try:
            verdicts, why_not = await judged(path)
        except asyncio.CancelledError:
            verdicts, why_not = None, "it is not judged: the run host ended first"
        except OSError as fault:
            verdicts, why_not = None, f"it is not judged: {fault.strerror}"
        self._known(replace(ran, verdicts=verdicts, problem="; ".join(p for p in (ran.problem, why_not) if p)))
        for row in verdicts or ():
            data: Mapping[str, Any] = {"run": ran.run, "rule_set": row.rule_set, "outcome": row.outcome}
            self._say(
                m.Event(number=self._scan, wall_s=time.time(), what="verdict", text=f"{row.rule_set}: {row.outcome}",
                        data=dict(data))
            )  # fmt: skip

    def _known(self, ran: Ran) -> None:
        """The topic of the run tells of the newest one: an older one is only told as an event."""
        if self._publisher is not None and self._run in ("", ran.run):
            self._publisher.ran(ran)

    def _heard_of(self, line: str) -> None:
        self._log(f"broker: {line}")
        self._say(m.Event(number=self._scan, wall_s=time.time(), what="broker", text=line))

    def _soon(self, what: Callable[..., object], *args: object) -> None:
        with suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(what, *args)
