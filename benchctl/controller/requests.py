"""What each message of a client does: orders, the choice of a program, first contact, back-fill.

An answer is what the bench did with an order, not that the order arrived. A drop and an unload never wait for anything.
"""

import asyncio
import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from benchctl.controller.beginning import Beginning
from benchctl.controller.drawn import drawn, promised
from benchctl.controller.look import Beside, look_rows
from benchctl.controller.owner import Owner
from benchctl.controller.recent import Recent
from benchctl.controller.rules import judges
from benchctl.controller.session import CHOICE_MODES, Session
from benchctl.controller.terms import Terms
from benchctl.controller.trend import COLUMNS
from benchctl.controller.world import World
from benchctl.core.charge import barred
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame, Settings
from benchctl.core.state import Mode
from benchctl.door import messages as m
from benchctl.door.server import Guest, Rejected
from benchctl.files import FileFault, RecordedShelf, SourceFile, read_program
from benchctl.planning import plan
from benchctl.planning.lines import lines
from benchctl.record.space import short_of_space

ANSWER_S = 10.0  # longest wait for the scan that answers
AGES = 400  # frames whose time is remembered
UNKNOWN_AGE_S = 1e6  # of an order based on a frame that is long gone, or never was
NEVER_WAIT = (Verb.DROP, Verb.UNLOAD)
NEED_RECORD = frozenset(
    (
        *(Verb.TAKE_CHARGE, Verb.TAKE_OVER, Verb.START, Verb.SET_LOAD),
        *(Verb.SWITCH, Verb.ADOPT, Verb.JOIN, Verb.OVERRIDE),
    )
)

Answer = tuple[str, int]  # why an order was refused, or nothing; the number of the scan that had it


class Requests:
    """Lives in the loop of the clients. answer_s: longest wait for a scan."""

    def __init__(
        self,
        owner: Owner,
        session: Session,
        log: Callable[[str], None],
        recent: Recent,
        world: World,
        *,
        answer_s: float = ANSWER_S,
    ) -> None:
        self._owner, self._session, self._answer_s = owner, session, answer_s
        self._recent, self._world = recent, world
        self.latest: Frame | None = None
        self.beside: Callable[[], Beside] = Beside
        self._seen = asyncio.Event()
        self._asked: deque[asyncio.Future[Answer]] = deque()  # orders given and not answered, in their order
        self._shown: deque[tuple[int, float]] = deque(maxlen=AGES)
        self._beginning = Beginning(world.terms, owner, session, log, answer_s)

    async def receive(self, guest: Guest, message: m.Request) -> dict[str, Any]:
        """Act on a message; returns the data of the answer. Raises Rejected."""
        match message:
            case m.Order():
                return await self._order(guest, message)
            case m.Program():
                return await self._program(guest, message)
            case m.Look():
                return {"rows": look_rows(self._terms.site, self.latest, self.beside())}
            case m.Registers():
                return self._registers(message.unit)
            case m.Past():
                return {"events": self._recent.events(message.last)}
            case m.History():
                rows = self._recent.trend.rows(message.since_s, message.points)
                return {"columns": COLUMNS, "rows": rows}
            case m.Inject():
                return await self._world.inject(guest.who, message)
            case m.Heal():
                return await self._world.heal(guest.who, message)
            case m.Pace():
                return await self._world.pace(guest.who, message)
        raise Rejected(f"{message.kind}: not known here")

    # -- the engine's news, in the loop of the clients

    def frame(self, frame: Frame, settings: Settings) -> None:
        """The newest frame."""
        self.latest = frame
        self._seen.set()
        self._shown.append((frame.number, time.monotonic()))
        self._beginning.frame(settings)
        if frame.decision.seen.loaded:
            self._beginning.soon("load found on")

    def answered(self, scan: int, refusals: list[str]) -> None:
        """What became of the orders of one scan."""
        for refusal in refusals:
            future = self._asked.popleft() if self._asked else None
            if future is not None and not future.done():
                future.set_result((refusal, scan))

    # -- orders

    def submit(self, command: Command) -> "asyncio.Future[Answer]":
        """Give a command to the next scan; the future gets what became of it. Raises RuntimeError: there is none."""
        future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._owner.submit(command)
        self._asked.append(future)
        if command.verb in NEVER_WAIT:
            self._beginning.soon(command.who)
        return future

    async def _order(self, guest: Guest, order: m.Order) -> dict[str, Any]:
        """Data: the number of the scan that has obeyed it."""
        try:
            verb = Verb(order.verb)
        except ValueError:
            raise Rejected(f"{order.verb!r}: known are {', '.join(v.value for v in Verb)}") from None
        unit = self._unit(order.unit)
        who = order.who or guest.who
        command = Command(verb, who, order.why, order.value, order.text, unit, console=guest.console)
        others = bool(self._barred(command))  # why is told by the scan, as every refusal is
        if verb in NEED_RECORD and self._session.current is None and not others:
            await self._beginning.by_hand(who)
        if verb is not Verb.START or others:
            return await self._given(replace(command, age_s=self._age_s(order)))
        async with self._beginning.lock:  # nobody chooses another program meanwhile
            self._refuse_other(order.text)
            return await self._given(replace(command, value=None, text="", unit=None, age_s=self._age_s(order)))

    async def _given(self, command: Command) -> dict[str, Any]:
        try:
            refusal, scan = await asyncio.wait_for(self.submit(command), self._answer_s)
        except TimeoutError:
            raise Rejected("given to the bench, but no scan has answered") from None
        except RuntimeError as fault:
            raise Rejected(str(fault)) from None
        if refusal:
            raise Rejected(refusal)
        return {"scan": scan}

    def _barred(self, command: Command) -> str:
        """Why it is not its sender's to give, as things are now; empty where it is."""
        latest = self.latest
        return barred(latest.decision.state, command, latest.inputs.consoles) if latest is not None else ""

    def _refuse_other(self, sha256: str) -> None:
        """A start means the program that whoever starts it has looked at; an empty hash means whichever is chosen."""
        run = self._session.current
        if sha256 and (run is None or run.program_sha256 != sha256):
            raise Rejected("this program is not the one that is chosen now: choose it again")

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

    # -- programs

    async def _program(self, guest: Guest, message: m.Program) -> dict[str, Any]:
        """Judge a program; choose it when it can be done and is to be."""
        source = SourceFile.of("program", message.name, message.name, message.text)
        if source.sha256 != message.sha256:
            raise Rejected("the program did not arrive as it was sent")
        try:
            program, _ = read_program(message.name, RecordedShelf([source]))
        except FileFault as fault:
            raise Rejected(str(fault)) from None
        site = self._terms.site
        rules = await asyncio.to_thread(judges, program, message.rule_sets)
        planned = await asyncio.to_thread(plan, site, program)
        picture = await asyncio.to_thread(drawn, planned, site, program)
        picture["verdicts"] = await asyncio.to_thread(promised, planned, site, program, rules.rule_sets)
        refusals = [f.text for f in planned.findings if f.severity.value == "refusal"]
        settings = Settings.of(site, program, planned.scan_period_s)
        length_s = planned.totals.length_s
        short = short_of_space(self._terms.runs, settings, length_s, self._terms.reserve_bytes)
        if short and not message.anyway:
            refusals.append(f"{short}: make room, or say that you want it anyway")
            picture["findings"].append({"severity": "refusal", "text": refusals[-1], "line": None, "leg": None})
        told = {
            "feasible": not refusals,
            "refusals": refusals,
            "warnings": [f.text for f in planned.findings if f.severity.value == "warning"],
            "lines": list(lines(planned, site, program)),
            "length_s": length_s,
            "planned_peak_kw": settings.peak_kw,
            "unattended": site.attendance.unattended,
            "sha256": source.sha256,
            "barred": self._barred(Command(Verb.START, guest.who, console=guest.console)),
            **picture,
        }
        run = self._beginning.in_hand(source)
        if run is None and message.choose and not refusals and not told["barred"]:
            await self._first_frame()
            files = (source, *rules.named)
            run = await self._beginning.chosen(settings, files, guest.who, lambda: self._bar(guest))
        return told if run is None else told | {"in_hand": run.started, "run": str(run.recorder.path)}

    async def _first_frame(self) -> None:
        """A client may be quicker than the first scan."""
        try:
            await asyncio.wait_for(self._seen.wait(), self._answer_s)
        except TimeoutError:
            raise Rejected("nothing has been read yet") from None

    def _bar(self, guest: Guest) -> str:
        """Why a guest cannot choose another program now."""
        return self._barred(Command(Verb.START, guest.who, console=guest.console)) or self._busy()

    def _busy(self) -> str:
        assert self.latest is not None
        state = self.latest.decision.state
        if state.mode not in CHOICE_MODES or state.target_kw > 0.0:
            return "a run is in hand: unload first"
        run = self._session.current
        if state.mode is Mode.COOL and run is not None and run.loaded:
            return "the run before is still cooling down: its record must show that"
        if self.latest.decision.seen.loaded:
            return "load is on: adopt it, unload or drop first"
        return "a trip is latched: reset it first" if state.trip is not None else ""

    def _registers(self, name: str) -> dict[str, Any]:
        try:
            return self._recent.registers.of(name)
        except KeyError:
            known = ", ".join(self._recent.registers.names)
            raise Rejected(f"{name!r}: no such unit or instrument; there are {known}") from None

    @property
    def _terms(self) -> Terms:
        """As they are now."""
        return self._world.terms

    @property
    def run_path(self) -> str:
        """Of the record of the run in hand; empty when there is none."""
        run = self._session.current
        return str(run.recorder.path) if run else ""
