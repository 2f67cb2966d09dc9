"""Plays a universe: engine and chain on the simulated world in virtual time, through mishaps, under observation.

A process that is killed is cut off at that very await: its connections break, its tasks go, and a new engine that knows
nothing begins on the same world. A computer that stalls runs nothing while the world goes on. Every scan goes into a
digest of what is true and what was ordered, so that the same seed can be shown to be the same universe.
"""

import asyncio
import hashlib
from collections import Counter
from dataclasses import dataclass, field

from benchctl.core.decide import decide
from benchctl.core.decision import Frame, Settings, first_state
from benchctl.core.inputs import Recorder
from benchctl.core.levels import smallest_kw
from benchctl.core.scenario import Fault, Scenario
from benchctl.core.site import Site
from benchctl.core.state import State
from benchctl.engine import Engine
from benchctl.planning import plan
from benchctl.rehearsal import BytesChain, DirectChain, tell_segments
from benchctl.rehearsed import RehearsedOperator
from simulator.bench import Bench
from simulator.warp import WarpLoop, run
from tests.campaign.days import Mishap
from tests.campaign.known import Bank, Heard, Place, Told
from tests.campaign.truth import look
from tests.campaign.universe import Universe
from tests.campaign.watch import Watch

AGAIN_EVERY = 25  # scans between two that are decided a second time


@dataclass(slots=True)
class Played:
    """What came of a universe. broken: (law, time, text); seen: what there was to judge, and how often."""

    universe: Universe
    broken: list[tuple[str, float, str]] = field(default_factory=list)
    seen: dict[str, int] = field(default_factory=dict)
    digest: str = ""
    scans: int = 0
    hours: float = 0.0

    @property
    def laws(self) -> frozenset[str]:
        """Those that were broken."""
        return frozenset(law for law, _, _ in self.broken)


def play(universe: Universe, *, with_bytes: bool = False) -> Played:
    """Play it to its end, or to the first scan that breaks a law. Raises FileFault for one whose files are wrong."""
    world = _World(universe, with_bytes)
    run(world.live(), world.loop)
    return world.told()


class _World:
    """One universe while it is played."""

    def __init__(self, universe: Universe, with_bytes: bool) -> None:
        self.universe, self.with_bytes = universe, with_bytes
        self.site, self.program, self.scenario = universe.read()
        self.loop = WarpLoop()
        drawn = plan(self.site, self.program)
        self.settings = Settings.of(self.site, self.program, drawn.scan_period_s)
        self.bench = Bench(self.site, self.scenario, universe.seed)
        self.watch = Watch(place(self.site, self.settings, attended=universe.attended))
        self.kinds: Counter[str] = Counter()
        self.bench.tell_fault = self._fault
        self.digest = hashlib.sha256()
        self.scans = 0
        self.wall_s = 1_790_000_000.0
        self.health, self.attached = Recorder.OK, True
        self.engine: Engine | None = None
        self.operator = RehearsedOperator(self.settings, self.scenario)
        self.state: State = first_state(self.settings)
        self.given: tuple[Heard, ...] = ()
        self.killed = asyncio.Event()
        self.last_s = 0.0

    # -- mishaps

    def _fault(self, fault: Fault, begins: bool) -> None:
        self.kinds[fault.fault] += begins

    def _arm(self) -> None:
        for mishap in self.universe.mishaps:
            self.loop.call_at(mishap.at_s, self._befalls, mishap, mishap.turns)
            if mishap.kind in ("disk full", "nobody attached"):
                self.loop.call_at(mishap.at_s + mishap.lasts_s, self._over, mishap)

    def _befalls(self, mishap: Mishap, turns: int) -> None:
        if mishap.kind == "killed" and turns:
            self.loop.call_soon(self._befalls, mishap, turns - 1)
            return
        self.kinds[mishap.kind] += 1
        match mishap.kind:
            case "killed":
                self.down_s = mishap.lasts_s
                self.killed.set()
                self._cut_off()
            case "stalled":
                self.watch.stand_still(mishap.lasts_s)
                self.loop.jump(mishap.lasts_s)
            case "clock stepped":
                self.wall_s += mishap.lasts_s
            case "disk full":
                self.health = Recorder.FAILED
            case "nobody attached":
                self.attached = False

    def _over(self, mishap: Mishap) -> None:
        if mishap.kind == "disk full":
            self.health = Recorder.OK
        else:
            self.attached = True

    def _cut_off(self) -> None:
        """The process is gone: no byte of it goes out any more, no task of it runs on."""
        for endpoint in self.bench.endpoints():
            self.bench.cables.of(f"{endpoint.host}:{endpoint.port}").break_off()
        for task in asyncio.all_tasks(self.loop) - {self.main}:
            task.cancel()

    # -- life

    async def live(self) -> None:
        """One session after the other."""
        self.main = asyncio.current_task()
        self._arm()
        while not self.watch.broken and self.loop.time() < self.universe.end_s:
            await self._session()
            if not self.killed.is_set():
                break  # it is over, or has failed: then that is told
            self.killed.clear()
            await self._dead()
        self.bench.advance(self.loop.time())
        if not self.watch.broken and self.loop.time() >= self.universe.end_s:
            self.watch.end(look(self.bench))

    async def _session(self) -> None:
        chain: BytesChain | DirectChain
        chain = BytesChain(self.site, self.bench, self.loop) if self.with_bytes else DirectChain(self.bench, self.loop)
        self.watch.begin()
        now_s = self.loop.time()
        answers = tuple(a for a in self.scenario.answers if a.to or a.during or (a.at_s or 0.0) >= now_s)
        self.operator = RehearsedOperator(self.settings, Scenario(answers=answers))
        self.state, self.given = first_state(self.settings), ()
        attended = self.universe.attended
        self.engine = Engine(
            self.settings,
            chain,
            lambda: self.wall_s + self.loop.time(),
            recorder_health=lambda: self.health,
            attached=lambda: self.attached if attended else None,
        )
        task = self.loop.create_task(self.engine.run(self._step))
        died = self.loop.create_task(self.killed.wait())
        await asyncio.wait((task, died), return_when=asyncio.FIRST_COMPLETED)
        died.cancel()
        if self.killed.is_set():
            await asyncio.gather(task, return_exceptions=True)
            return
        try:
            last = await task
            if last.fault:
                self.watch.say("8", f"deciding has failed: {last.fault}")
        except Exception as fault:  # the engine must outlive everything: that it did not is what is to be told
            self.watch.say("8", f"the engine has ended: {type(fault).__name__}: {fault}")
        await chain.close()

    async def _dead(self) -> None:
        """Nobody is alive."""
        self.watch.die()
        end_s = self.loop.time() + self.down_s
        while self.loop.time() < end_s:
            await asyncio.sleep(0.25)
            self.bench.advance(self.loop.time())
            self.watch.look(look(self.bench))

    def _step(self, frame: Frame) -> bool:
        """After a scan: judge it, let people act; True when it is over."""
        assert self.engine is not None
        self.bench.advance(self.loop.time())
        tell_segments(self.bench, frame)
        now = look(self.bench)
        told = Told(
            frame.decision.seen.loaded,
            tuple(r.load if r.outcome.tells else None for r in frame.inputs.units),
            frame.fault or next((e.text for e in frame.decision.events if e.kind == "fault"), ""),
        )
        self.watch.look(now, self.given, told, self.attached)
        self._again(frame)
        self.scans += 1
        self.digest.update(repr((now, frame.decision.orders, frame.inputs.writes)).encode())
        commands = self.operator.commands(frame)
        for command in commands:
            self.engine.submit(command)
        self.given = tuple(Heard(c.verb.value, c.unit, c.text) for c in commands)
        return bool(self.watch.broken) or self.loop.time() >= self.universe.end_s

    def _again(self, frame: Frame) -> None:
        """Same state, same inputs: the same decision. Not in every scan, for time's sake."""
        before, self.state = self.state, frame.decision.state
        if self.scans % AGAIN_EVERY or frame.fault:
            return
        decided = decide(before, frame.inputs, self.settings)
        if decided.orders != frame.decision.orders or decided.state != frame.decision.state:
            self.watch.say("8", f"scan {frame.number} decided again is decided otherwise")

    def told(self) -> Played:
        """What came of it."""
        return Played(
            self.universe,
            self.watch.broken,
            {**self.watch.seen, **self.kinds},
            self.digest.hexdigest(),
            self.scans,
            self.loop.time() / 3600.0,
        )


def place(site: Site, settings: Settings, *, attended: bool) -> Place:
    """What the files say, as the observer wants it."""
    banks = []
    for unit in site.units:
        profile, point = unit.profile, unit.profile.setpoint
        terms = profile.cooldown
        banks.append(
            Bank(
                unit.name,
                f"{unit.endpoint.host}:{unit.endpoint.port}",
                point is None,
                terms.minimum_s,
                terms.margin_k,
                site.ambient_c if terms.reference == "ambient" else None,
                profile.exhaust_trip_c,
                point.drop_s if point else 0.3,
                smallest_kw(profile),
                profile.corrects_volts,
                (site.simulation.volts or site.nameplate.volts) / profile.rated_v,
            )
        )
    limits, people = site.limits, site.attendance
    return Place(
        tuple(banks),
        settings.scan_period_s,
        site.nameplate.power_kw,
        limits.upper_percent,
        limits.largest_block_up_percent,
        limits.lost_s,
        limits.fan_start_gap_s,
        (100.0 / limits.unload_step_percent + 2.0) * limits.unload_step_s,
        people.console_lost_s,
        people.check_in_s + people.unload_after_s,
        max(2.0, 4.0 * settings.scan_period_s),
        any(x.role == "meter" and x.place == "source" for x in site.instruments),
        attended,
    )
