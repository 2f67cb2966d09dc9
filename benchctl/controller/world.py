"""What clients may do to the world of a rehearsal: faults by hand, and how fast its time goes.

A fault is told when it begins and when it ends, whoever began it, and once more at the beginning of a record, so that
no rehearsed record shows its effects only.
"""

import asyncio
import json
import math
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from typing import Any, TypeVar

from benchctl.controller.owner import Owner
from benchctl.controller.session import Run
from benchctl.controller.terms import Terms
from benchctl.core.decision import Event
from benchctl.core.reading import Maybe
from benchctl.core.scenario import FAULT_BY_NAME, Fault
from benchctl.core.site import Instrument, Site, Unit
from benchctl.door import messages as m
from benchctl.door.server import Rejected
from benchctl.engine import Engine
from benchctl.files import FileFault, RecordedShelf, SourceFile, read_scenario
from benchctl.files.fault import nearest, quoted
from benchctl.rehearsal import RehearsedChain

T = TypeVar("T")
REAL = "these units are real: faults by hand and another pace are of rehearsals only"
UNITS = {"kW": " kW", "percent of rated": " %", "s": " s"}  # of values that are given as numbers


class World:
    """Asked in the loop of the clients. terms: as they are now; their speed may be changed. answer_s: longest wait."""

    def __init__(self, terms: Terms, owner: Callable[[], Owner], answer_s: float) -> None:
        self.terms = terms
        self._owner, self._answer_s = owner, answer_s
        self._chain: RehearsedChain | None = None
        self._note: Callable[[Event], None] = lambda event: None
        self._who: dict[int, str] = {}  # who has begun or ended a fault, until that is told
        self._run: object = None

    @property
    def true_pace(self) -> Maybe:
        """Of a rehearsal: its seconds a real second, of the last few; None: not known, or the units are real."""
        return None if self._chain is None else self._chain.true_pace

    # -- in the engine's thread

    def watch(self, chain: RehearsedChain, engine: Engine) -> None:
        """This is the world, and the engine that tells what happens in it."""
        self._chain, self._note = chain, engine.note
        chain.bench.tell_fault = self._told

    def listen(self, run: object) -> None:
        """A scan of this run is over; None = of none."""
        begins, self._run = run is not None and run is not self._run, run
        if begins and self._chain is not None:
            for fault in self._chain.bench.in_force:
                self._note(self._event("injected", fault, f"{_words(fault)}, since before this record"))
            program = run.settings.program if isinstance(run, Run) else None
            off = program is not None and program.site_load_off
            if off or not any(fault.fault == "site load" for fault in self._chain.bench.in_force):
                self._chain.site_load(off=off)

    def _told(self, fault: Fault, begins: bool) -> None:
        how_long = f", for {fault.for_s:g} s" if begins and fault.for_s is not None else ""
        self._note(self._event("injected" if begins else "healed", fault, f"{_words(fault)}{how_long}"))

    def _event(self, kind: str, fault: Fault, text: str) -> Event:
        unit = next((i for i, u in enumerate(self.terms.site.units) if u.name == fault.on), -1)
        return Event(kind, f"{kind}: {text}", unit, self._who.pop(id(fault), ""), tuple(_data(fault).items()))

    # -- requests

    async def inject(self, who: str, message: m.Inject) -> dict[str, Any]:
        """Let a fault begin now. Raises Rejected."""
        self._refuse_real()
        fault = fault_of(self.terms.site, message)

        def act(engine: Engine, chain: RehearsedChain) -> None:
            self._who[id(fault)] = who
            chain.inject(fault)

        await self._in_engine(act)
        return _data(fault)

    async def heal(self, who: str, message: m.Heal) -> dict[str, Any]:
        """Let faults end now. Raises Rejected, also when there are none."""
        self._refuse_real()
        on = _place(self.terms.site, message.fault, message.on)

        def act(engine: Engine, chain: RehearsedChain) -> tuple[Fault, ...]:
            self._who |= {id(f): who for f in chain.bench.in_force if (f.fault, f.on) == (message.fault, on)}
            return chain.heal(message.fault, on)

        ended = await self._in_engine(act)
        if not ended:
            raise Rejected(f"{quoted(message.fault)} is not in force on {quoted(message.on)}")
        return {"ended": [_data(fault) for fault in ended]}

    async def pace(self, who: str, message: m.Pace) -> dict[str, Any]:
        """Go on at another pace. Raises Rejected."""
        self._refuse_real()

        def act(engine: Engine, chain: RehearsedChain) -> None:
            chain.go_at(message.speed)
            self.terms = replace(self.terms, speed=math.inf if message.speed is None else message.speed)
            told = "as fast as it goes" if message.speed is None else f"{message.speed:g} times real time"
            engine.note(Event("pace", f"pace: {told}", who=who, data=(("speed", message.speed),)))

        await self._in_engine(act)
        return {"speed": message.speed}

    def _refuse_real(self) -> None:
        if self._chain is None:
            raise Rejected(REAL)

    async def _in_engine(self, act: Callable[[Engine, RehearsedChain], T]) -> T:
        """Do something in the engine's thread and wait for what comes of it. Raises Rejected."""
        done: Future[T] = Future()
        chain = self._chain
        assert chain is not None

        def work(engine: Engine) -> None:
            if done.set_running_or_notify_cancel():
                try:
                    done.set_result(act(engine, chain))
                except Exception as fault:  # whoever has asked is told
                    done.set_exception(fault)

        try:
            self._owner().between_scans(work)
            return await asyncio.wait_for(asyncio.wrap_future(done), self._answer_s)
        except TimeoutError:
            raise Rejected("the engine has not answered") from None
        except (RuntimeError, ValueError) as fault:
            raise Rejected(str(fault)) from None


def fault_of(site: Site, message: m.Inject) -> Fault:
    """The fault of a message, read as one of a scenario's file would be. Raises Rejected with every flaw."""
    kind, value = FAULT_BY_NAME.get(message.fault), message.value
    row: dict[str, str] = {"fault": message.fault, "on": message.on, "at": "0 s"}
    if value is not None:
        told = value if isinstance(value, str) else f"{value:.9g}{UNITS.get(kind.value, '') if kind else ''}"
        row["value"] = told
    text = json.dumps({"title": "by hand", "faults": [row]}, ensure_ascii=False)  # JSON is YAML
    try:
        scenario, _ = read_scenario("by hand", site, RecordedShelf([SourceFile.of("scenario", "by hand", "-", text)]))
    except FileFault as fault:
        raise Rejected("; ".join(flaw.text for flaw in fault.flaws)) from None
    return replace(scenario.faults[0], for_s=message.for_s, line=0)


def _place(site: Site, name: str, on: str) -> str:
    """What the simulator calls the place of a fault: a cable may be named by a device at its end. Raises Rejected."""
    kind = FAULT_BY_NAME.get(name)
    if kind is None:
        raise Rejected(f"{quoted(name)} is no fault{nearest(name, FAULT_BY_NAME)}")
    devices: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
    ends = {d.name: f"{d.endpoint.host}:{d.endpoint.port}" for d in devices}
    return ends.get(on, on) if kind.on == "cable" else on


def _data(fault: Fault) -> dict[str, Any]:
    return {"fault": fault.fault, "on": fault.on, "value": fault.value, "for_s": fault.for_s}


def _words(fault: Fault) -> str:
    meaning = FAULT_BY_NAME[fault.fault].value
    value = "" if fault.value is None else f" ({meaning}: {fault.value:g})"
    return f"{fault.fault} on {fault.on}{value}"
