"""The next start after a crash, on the world as it was left: it says what is on and cools what is hot."""

from dataclasses import asdict, dataclass
from random import Random
from typing import Any

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame, Settings
from benchctl.core.site import Site
from benchctl.engine import Engine
from benchctl.rehearsal import DirectChain
from simulator.bench import Bench
from simulator.unit import Bank
from simulator.warp import WarpLoop, run
from tests.campaign.known import Heard, Told
from tests.campaign.play import place
from tests.campaign.truth import look
from tests.campaign.watch import Watch

WATCHED_S, CHARGE_S, UNLOAD_S, DROP_S = 260.0, 6.0, 12.0, 60.0


@dataclass(frozen=True, slots=True)
class Left:
    """One unit as it was left behind."""

    order: int
    closed: int
    fan_order: bool
    fan_speed: float
    element_c: float
    exhaust_c: float

    @classmethod
    def of(cls, bank: Bank) -> "Left":
        """As it is now."""
        heat, speed = bank.heat, bank.fan.speed(bank.now_s)
        return cls(
            bank.elements.order,
            bank.elements.closed,
            bank.fan_order,
            speed,
            heat.element_c,
            heat.exhaust_c,
        )

    def row(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)

    def put(self, bank: Bank) -> None:
        """Make a unit of another world like it: the fan is turning, contactors are where they were."""
        bank.fan.switch(self.fan_order, bank.now_s)
        bank.fan._from = self.fan_speed
        bank.fan_order = self.fan_order
        bank.elements.order = self.order
        bank.heat.element_c, bank.heat.exhaust_c = self.element_c, self.exhaust_c
        bank.heat.at_rest = False
        bank.refresh()


def next_start(site: Site, left: list[Left], random: Random) -> tuple[bool, list[str]]:
    """Begin anew on what was left, some seconds later. Returns whether anything was hot, and what was wrong."""
    loop = WarpLoop()
    bench = Bench(site)
    settings = Settings.of(site, None, 0.5)
    for unit, bank in zip(left, bench.banks, strict=True):
        unit.put(bank)
    bench.changed()
    dead_s = random.choice((0.5, 2.0, 6.0))
    loop.jump(dead_s)
    bench.advance(dead_s)
    watch = Watch(place(site, settings, attended=False))
    first = look(bench)
    watch.look(first)
    watch.begin()
    engine = Engine(settings, DirectChain(bench, loop), loop.time)
    given: list[tuple[float, Command]] = [
        (CHARGE_S, Command(Verb.TAKE_CHARGE)), (UNLOAD_S, Command(Verb.UNLOAD)), (DROP_S, Command(Verb.DROP)),
    ]  # fmt: skip
    heard: list[tuple[Heard, ...]] = [()]
    wrong: list[str] = []

    def step(frame: Frame) -> bool:
        now = look(bench)
        told = Told(frame.decision.seen.loaded, tuple(r.load for r in frame.inputs.units), frame.fault)
        watch.look(now, heard[0], told)
        if frame.number == 0 and any(r.load != u.closed for r, u in zip(frame.inputs.units, first.units, strict=True)):
            wrong.append("the next start does not say what is on")
        if frame.inputs.now_s < CHARGE_S and [u.order for u in now.units] != [u.order for u in first.units]:
            moved = [(was.order, is_.order) for was, is_ in zip(first.units, now.units, strict=True)]
            if any(is_ > was for was, is_ in moved):
                wrong.append(f"the next start switches before anybody has taken charge: {moved}")
        due = [c for at_s, c in given if at_s <= frame.inputs.now_s]
        del given[: len(due)]
        for command in due:
            engine.submit(command)
        heard[0] = tuple(Heard(c.verb.value) for c in due)
        return bool(watch.broken) or frame.inputs.now_s >= WATCHED_S

    run(engine.run(step), loop)
    if not watch.broken:
        watch.end(look(bench))
    hot = any(u.closed or u.element_c > u.inlet_c + 20.0 for u in first.units)
    return hot, wrong + [f"next start: law {law} at {t:.1f} s: {text}" for law, t, text in watch.broken]
