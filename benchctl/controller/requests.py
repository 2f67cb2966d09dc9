"""What each message of a client does: orders, the choice of a program, first contact, back-fill.

An answer is what the bench did with an order, not that the order arrived. A drop and an unload never wait for anything.
"""

import asyncio
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchctl.controller.look import look_rows
from benchctl.controller.owner import Owner
from benchctl.controller.session import Run, Session
from benchctl.controller.terms import Terms
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame, Settings
from benchctl.core.state import Mode
from benchctl.door import messages as m
from benchctl.door.server import Guest, Rejected
from benchctl.files import FileFault, RecordedShelf, SourceFile, read_program
from benchctl.planning import plan
from benchctl.planning.lines import lines
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.space import short_of_space

ANSWER_S = 10.0  # longest wait for the scan that answers
AGES = 400  # frames whose time is remembered
UNKNOWN_AGE_S = 1e6  # of an order based on a frame that is long gone, or never was
NEVER_WAIT = (Verb.DROP, Verb.UNLOAD)
NEED_RECORD = frozenset(
    (Verb.TAKE_CHARGE, Verb.START, Verb.SET_LOAD, Verb.ADOPT, Verb.JOIN, Verb.OVERRIDE, *NEVER_WAIT)
)


class Requests:
    """Lives in the loop of the clients."""

    def __init__(self, terms: Terms, owner: Owner, session: Session, log: Callable[[str], None]) -> None:
        self._terms, self._owner, self._session, self._log = terms, owner, session, log
        self.latest: Frame | None = None
        self._seen = asyncio.Event()
        self._asked: deque[asyncio.Future[str] | None] = deque()  # orders given and not answered, in their order
        self._shown: deque[tuple[int, float]] = deque(maxlen=AGES)
        self._begun: dict[int, asyncio.Future[None]] = {}  # by the id of the settings that are awaited
        self._beginning = asyncio.Lock()
        self._later: set[asyncio.Task[None]] = set()

    async def receive(self, guest: Guest, message: m.Request) -> dict[str, Any]:
        """Act on a message; returns the data of the answer. Raises Rejected."""
        match message:
            case m.Order():
                return await self._order(message.who or guest.who, message)
            case m.Program():
                return await self._program(guest.who, message)
            case m.Look():
                return {"rows": look_rows(self._terms.site, self.latest)}
            case m.History():
                return await asyncio.to_thread(self._history, message)
        raise Rejected(f"{message.kind}: not known here")

    # -- the engine's news, in the loop of the clients

    def frame(self, frame: Frame, settings: Settings) -> None:
        """The newest frame."""
        self.latest = frame
        self._seen.set()
        self._shown.append((frame.number, time.monotonic()))
        begun = self._begun.pop(id(settings), None)
        if begun is not None and not begun.done():
            begun.set_result(None)
        if frame.decision.seen.loaded and self._idle:
            self._spawn(self._begin_by_hand("load found on"))

    def answered(self, refusals: list[str]) -> None:
        """What became of the orders of one scan."""
        for refusal in refusals:
            future = self._asked.popleft() if self._asked else None
            if future is not None and not future.done():
                future.set_result(refusal)

    # -- orders

    def submit(self, command: Command) -> "asyncio.Future[str]":
        """Give a command to the next scan; the future gets why it was refused, or nothing."""
        future: asyncio.Future[str] = asyncio.get_running_loop().create_future()
        self._owner.submit(command)
        self._asked.append(future)
        if self._idle and command.verb in NEVER_WAIT:
            self._spawn(self._begin_by_hand(command.who))
        return future

    async def _order(self, who: str, order: m.Order) -> dict[str, Any]:
        try:
            verb = Verb(order.verb)
        except ValueError:
            raise Rejected(f"{order.verb!r}: known are {', '.join(v.value for v in Verb)}") from None
        if self._session.current is None and verb in NEED_RECORD and verb not in NEVER_WAIT:
            await self._begin_by_hand(who)
        command = Command(verb, who, order.why, order.value, order.text, self._unit(order.unit), self._age_s(order))
        try:
            refusal = await asyncio.wait_for(self.submit(command), ANSWER_S)
        except TimeoutError:
            raise Rejected("given to the bench, but no scan has answered") from None
        except RuntimeError as fault:
            raise Rejected(str(fault)) from None
        if refusal:
            raise Rejected(refusal)
        return {}

    def _unit(self, name: str) -> int | None:
        names = [u.name for u in self._terms.site.units]
        if name and name not in names:
            raise Rejected(f"{name!r}: no such unit; there are {', '.join(names)}")
        return names.index(name) if name else None

    def _age_s(self, order: m.Order) -> float:
        """How old the picture is that the order was based on; 0 where it names none, or time is not a person's."""
        if order.based_on is None or not self._terms.needs_person:
            return 0.0
        now_s = time.monotonic()
        return next((now_s - at_s for number, at_s in self._shown if number == order.based_on), UNKNOWN_AGE_S)

    # -- runs

    @property
    def _idle(self) -> bool:
        return self._session.current is None and not self._begun and not self._beginning.locked()

    async def _begin_by_hand(self, who: str) -> None:
        site = self._terms.site
        try:
            await self._begin(Settings.of(site, None, self._terms.scan_period_s), (), {"begun_by": who}, only_idle=True)
        except Rejected as fault:
            self._log(str(fault))

    async def _begin(
        self, settings: Settings, files: tuple[SourceFile, ...], meta: dict[str, str], *, only_idle: bool = False
    ) -> None:
        """Begin a run: its file first, then the engine's settings, then wait for its first frame."""
        async with self._beginning:
            if only_idle and self._session.current is not None:
                return
            try:
                run = await asyncio.to_thread(self._session.make, settings, files, meta)
            except (RecordFault, OSError) as fault:
                raise Rejected(f"no record can be started: {fault}") from None
            begun = self._begun[id(settings)] = asyncio.get_running_loop().create_future()
            self._owner.between_scans(lambda engine: self._take(engine.rebase, run))
            try:
                await asyncio.wait_for(begun, ANSWER_S)
            except TimeoutError:
                self._begun.pop(id(settings), None)
                raise Rejected("no scan has begun the run") from None

    def _take(self, rebase: Callable[[Settings], None], run: Run) -> None:
        self._session.expect(run)
        rebase(run.settings)

    def _spawn(self, work: Any) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._later.add(task)
        task.add_done_callback(self._later.discard)

    async def _program(self, who: str, message: m.Program) -> dict[str, Any]:
        """Judge a program; choose it when it can be done."""
        source = SourceFile.of("program", message.name, message.name, message.text)
        if source.sha256 != message.sha256:
            raise Rejected("the program did not arrive as it was sent")
        try:
            program, _ = read_program(message.name, RecordedShelf([source]))
        except FileFault as fault:
            raise Rejected(str(fault)) from None
        site = self._terms.site
        drawn = await asyncio.to_thread(plan, site, program)
        refusals = [f.text for f in drawn.findings if f.severity.value == "refusal"]
        settings = Settings.of(site, program, drawn.scan_period_s)
        length_s = drawn.totals.length_s
        short = short_of_space(self._terms.runs, settings, length_s, self._terms.reserve_bytes)
        if short and not message.anyway:
            refusals.append(f"{short}: make room, or say that you want it anyway")
        told = {
            "feasible": not refusals,
            "refusals": refusals,
            "warnings": [f.text for f in drawn.findings if f.severity.value == "warning"],
            "lines": list(lines(drawn, site, program)),
            "length_s": length_s,
            "planned_peak_kw": settings.peak_kw,
            "unattended": site.attendance.unattended,
        }
        if self._in_hand(source):
            return told | {"in_hand": True, "run": self.run_path}
        if refusals:
            return told
        await self._first_frame()
        busy = self._busy()
        if busy:
            raise Rejected(busy)
        await self._begin(settings, (source,), {"begun_by": who})
        return told | {"run": self.run_path}

    def _in_hand(self, source: SourceFile) -> bool:
        """True when this very program is being run."""
        run = self._session.current
        if run is None or run.program_sha256 != source.sha256 or run.last is None:
            return False
        return run.last.decision.state.mode not in (Mode.IDLE, Mode.DONE)

    async def _first_frame(self) -> None:
        """A client may be quicker than the first scan."""
        try:
            await asyncio.wait_for(self._seen.wait(), ANSWER_S)
        except TimeoutError:
            raise Rejected("nothing has been read yet") from None

    def _busy(self) -> str:
        assert self.latest is not None
        state = self.latest.decision.state
        if state.mode.value not in ("idle", "done", "cooling down") or state.target_kw > 0.0:
            return "a run is in hand: unload first"
        if self.latest.decision.seen.loaded:
            return "load is on: adopt it, unload or drop first"
        return "a trip is latched: reset it first" if state.trip is not None else ""

    @property
    def run_path(self) -> str:
        """Of the record of the run in hand; empty when there is none."""
        run = self._session.current
        return str(run.recorder.path) if run else ""

    def _history(self, message: m.History) -> dict[str, Any]:
        """Rows of the run in hand, thinned out: time, target, delivered, source kW, volts, hertz, hottest exhaust."""
        path = self.run_path
        if not path:
            return {"rows": []}
        with Reader(Path(path)) as reader:
            rows = [
                (s.now_s, s.target_kw, s.delivered_kw, s.source_kw, s.volts_v, s.hertz, s.hottest_c)
                for s in reader.scans()
                if s.now_s >= message.since_s
            ]
        every = max(1, -(-len(rows) // message.points))
        return {"rows": rows[::every]}
