"""Scripts of what a hard day brings, played under the observer: the runs in which a broken rung shows."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from benchctl.core.command import Command, Verb
from benchctl.core.orders import Write
from benchctl.core.program import Hold, Ramp, Silence, Target
from benchctl.core.reading import Outcome
from benchctl.core.site import Attendance, Limits
from tests.core.worlds import QUICK, FakeUnit, Plant, program, site, staged, stepped
from tests.laws.watched import Watching

PLACE = site(staged(20.0, 40.0), stepped(60.0, 20.0), nameplate_kw=120.0)
TEST = program(Ramp(Target(60.0), 5.0), Hold(10.0), Ramp(Target(120.0), 0.0), Hold(5.0), Ramp(Target(0.0), 5.0))


def _set(kw: float) -> Command:
    return Command(Verb.SET_LOAD, value=kw)


def _trouble(**fields: Any) -> Callable[[Watching], None]:
    """Trouble at the first unit under load, the load asked again, all well again, reset and asked again."""

    def script(w: Watching) -> None:
        w.loaded(100.0)
        unit = w.plant.units[0]
        before = {name: getattr(unit, name) for name in fields}
        for name, value in fields.items():
            setattr(unit, name, value)
        w.run(4.0)
        w.scan(_set(120.0))
        w.run(8.0)
        w.scan(Command(Verb.RESET), _set(120.0))
        w.run(4.0)
        for name, value in before.items():
            setattr(unit, name, value)
        w.run(20.0)
        w.scan(Command(Verb.RESET), _set(60.0))
        w.run(10.0)
        w.scan(Command(Verb.DROP))
        w.run(60.0)

    return script


def ordinary(w: Watching) -> None:
    """A program from end to end."""
    w.started()
    w.until(lambda w: w.state.mode.value == "done")
    assert w.state.outcome == "completed"
    assert max(w.levels) == 120.0


def dropped(w: Watching) -> None:
    """A drop in the scan of a closing, then reset and load in one burst, with one unit silent."""
    w.ready()
    w.scan(_set(120.0))
    w.scan(Command(Verb.DROP), _set(60.0))
    w.plant.units[1].silent = Outcome.SILENT
    w.run(8.0)
    w.scan(_set(60.0), Command(Verb.RESET), _set(60.0))
    w.run(10.0)
    w.plant.units[1].silent = None
    w.run(10.0)
    w.scan(Command(Verb.RESET), Command(Verb.JOIN, unit=1), _set(80.0))
    w.run(10.0)


def watched_only(w: Watching) -> None:
    """Nobody takes charge; somebody else's load is on."""
    w.plant.units[0].load = 3
    w.scan()
    w.scan(_set(60.0), Command(Verb.START))
    w.run(10.0)


def slept(w: Watching) -> None:
    """The computer sleeps in a ramp."""
    w.started()
    w.run(3.0)
    w.scan(dt_s=8.0)
    w.run(5.0)


def stuck_switch(w: Watching) -> None:
    """The airflow switch sticks once the fans have stopped; load is asked."""
    w.ready()
    w.plant.units[0].air = w.plant.units[1].air = True
    w.run(40.0)
    w.scan(_set(100.0))
    w.run(12.0)


def warm(w: Watching) -> None:
    """The exhaust stays warm after load: the debt is not paid by time alone."""
    w.loaded(120.0)
    w.plant.units[0].exhaust_c = 80.0
    w.scan(_set(0.0))
    w.run(40.0)
    w.plant.units[0].exhaust_c = 25.0
    w.plant.units[1].air = False
    w.run(30.0)


def slow(w: Watching) -> None:
    """A unit that has not followed yet gets no second closing."""
    w.ready()
    w.plant.units[0].wont_close = 3
    for kw in (20.0, 60.0, 80.0, 120.0):
        w.scan(_set(kw))
    w.run(5.0)


def limits(w: Watching) -> None:
    """More is asked than the source may give, with a silent unit that counts as loaded and own load of the site."""
    w.loaded(60.0)
    w.plant.units[0].silent = w.plant.units[1].silent = Outcome.SILENT
    w.run(2.0)
    w.plant.units[1].silent = None
    w.plant.site_kw = 30.0
    w.scan()
    w.scan(_set(90.0))
    w.run(3.0)
    w.plant.volts = 438.0
    w.scan(_set(95.0))
    w.run(10.0)


def near_limit(w: Watching) -> None:
    """A welded contactor under a limit that is small."""
    w.loaded(60.0)
    w.plant.units[0].wont_open = w.plant.units[1].wont_open = 3
    w.scan(_set(0.0))
    w.run(6.0)
    w.scan(Command(Verb.RESET), _set(80.0))
    w.run(6.0)


def unanswered(w: Watching) -> None:
    """Load goes off by itself, the program says go on if nobody answers, and nobody does."""
    w.started()
    w.run(12.0)
    assert w.kw() > 0.0
    w.plant.units[0].load = w.plant.units[1].load = 0
    w.run(150.0)


def in_blocks(w: Watching) -> None:
    """A load that is several of the largest blocks."""
    w.ready()
    w.scan(_set(120.0))
    w.run(60.0)
    assert w.kw() == 120.0


def alone(w: Watching) -> None:
    """The last client goes while load is on; it comes again, and a person with it."""
    w.loaded(100.0)
    w.attached = True
    w.run(5.0)
    w.attached = False
    w.run(60.0)
    assert w.kw() == 0.0
    w.attached = True
    w.scan(Command(Verb.CHECK_IN))
    w.scan(_set(60.0))
    w.run(10.0)
    assert w.kw() == 60.0


def no_person(w: Watching) -> None:
    """A screen is attached, and nobody is there; somebody was, for a while."""
    w.loaded(100.0)
    w.attached = True
    for _ in range(3):
        w.run(30.0)
        w.scan(Command(Verb.CHECK_IN))
    assert w.kw() == 100.0
    w.run(100.0)
    assert w.kw() == 0.0


def by_hand(w: Watching) -> None:
    """Stages are switched one by one; load falls, a closing is not followed, a unit is lost and joins again."""
    w.ready()
    w.scan(Command(Verb.SWITCH))
    w.run(20.0)
    w.scan(*[Command(Verb.SWITCH, unit=0, text=name, value=1.0) for name in ("1", "2")])
    w.scan(Command(Verb.SWITCH, unit=1, value=40.0))
    w.run(5.0)
    assert w.kw() == 100.0
    w.plant.units[0].load = 1
    w.run(2.0)
    w.scan(Command(Verb.RESUME))
    w.run(10.0)
    assert w.kw() == 60.0
    w.plant.units[0].wont_close = 2
    w.scan(Command(Verb.SWITCH, unit=0, text="2", value=1.0))
    w.run(5.0)
    w.plant.units[0].wont_close = 0
    w.scan(Command(Verb.RESET), Command(Verb.RESUME))
    w.run(5.0)
    w.plant.units[1].silent = Outcome.SILENT
    w.run(8.0)
    w.plant.units[1].silent = None
    w.run(2.0)
    w.scan(Command(Verb.JOIN, unit=1), Command(Verb.RESUME))
    w.run(10.0)
    assert w.kw() == 20.0
    w.scan(_set(60.0))
    w.run(10.0)
    assert w.kw() == 60.0


def crashed(*loads: int) -> Callable[[Callable[[Watching], None]], Callable[[Watching], None]]:
    """The session begins with load on that an earlier one has left, fans running."""

    def begun(script: Callable[[Watching], None]) -> Callable[[Watching], None]:
        def through(w: Watching) -> None:
            for unit, load in zip(w.plant.units, loads, strict=True):
                unit.load, unit.fan = load, load > 0
            w.scan()
            script(w)

        return through

    return begun


@crashed(3, 2)
def adopted(w: Watching) -> None:
    """It is looked at, adopted, lowered, asked for again, unloaded; then the units are like any others."""
    w.run(3.0)
    w.scan(Command(Verb.TAKE_CHARGE))
    w.run(3.0)
    w.scan(Command(Verb.ADOPT))
    w.run(3.0)
    assert w.kw() == 100.0
    w.scan(_set(60.0))
    w.run(3.0)
    w.scan(_set(120.0))
    w.run(10.0)
    w.scan(Command(Verb.UNLOAD))
    w.run(60.0)
    w.scan(_set(100.0))
    w.run(10.0)
    assert w.kw() == 100.0


@crashed(3, 0)
def adopted_by_nobody(w: Watching) -> None:
    """Adopting asks for charge; so does a program; a drop does not."""
    w.scan(Command(Verb.ADOPT), Command(Verb.ANSWER, text="yes"))
    w.run(3.0)
    w.scan(Command(Verb.TAKE_CHARGE), Command(Verb.START), _set(20.0))
    w.run(3.0)
    assert w.kw() == 60.0
    w.scan(Command(Verb.DROP))
    w.run(60.0)
    assert w.kw() == 0.0


@crashed(1, 3)
def nobody_answers(w: Watching) -> None:
    """Nobody comes, and it comes off in the site's time."""
    w.run(8.0)
    assert w.kw() == 80.0
    w.run(60.0)
    assert w.kw() == 0.0


@crashed(3, 3)
def found_without_air(w: Watching) -> None:
    """Its air fails before anybody has decided: the interlock decides once there is charge, for that unit only."""
    w.plant.units[0].air = False
    w.run(2.0)
    w.scan(Command(Verb.TAKE_CHARGE))
    w.run(4.0)
    assert w.kw() == 60.0
    w.plant.units[0].air = None
    w.run(40.0)


ATTENDED = replace(
    PLACE, attendance=Attendance(check_in_s=20.0, console_lost_s=10.0, alarm_after_s=5.0, unload_after_s=15.0)
)
LOW = replace(PLACE, limits=Limits(upper_percent=70.0, largest_block_up_percent=100.0, settle_s=2.0))
TROUBLES: dict[str, dict[str, Any]] = {
    "airflow lost": {"air": False},
    "airflow not known": {"fields": {"airflow": None}},
    "emergency stop": {"fields": {"emergency_stop": True}},
    "local": {"fields": {"remote": False}},
    "hot": {"exhaust_c": 300.0},
    "no temperature": {"exhaust_c": None},
    "no fan supply": {"fields": {"fan_supply": False}},
    "foreign": {"load": 0},
    "silent": {"silent": Outcome.SILENT},
    "down": {"silent": Outcome.DOWN},
    "not identified": {"fields": {"identity_ok": False}},
    "another one": {"fields": {"serial": "T"}},
    "refuses": {"closing": Write.REFUSED},
    "not sent": {"closing": Write.NOT_SENT},
    "lost on the way": {"closing": Write.UNKNOWN},
    "ignores": {"ignores": True},
    "restarted": {"load": 0, "uptime_s": 0.0},
    "load not known": {"fields": {"load": None}},
    "fan reads off": {"fields": {"fan_on": False}},
    "welded": {"wont_open": 3},
}
SCRIPTS: dict[str, tuple[Callable[[Watching], None], Any, Any]] = {
    "ordinary": (ordinary, PLACE, TEST),
    "dropped": (dropped, PLACE, None),
    "nobody in charge": (watched_only, PLACE, TEST),
    "slept": (slept, PLACE, TEST),
    "stuck switch": (stuck_switch, PLACE, None),
    "warm": (warm, PLACE, None),
    "slow": (slow, PLACE, None),
    "limits": (limits, site(staged(20.0, 20.0, 20.0), staged(20.0, 20.0, 20.0), nameplate_kw=100.0), None),
    "near the limit": (near_limit, LOW, None),
    "largest block": (in_blocks, replace(PLACE, limits=Limits(largest_block_up_percent=20.0)), None),
    "unanswered": (unanswered, PLACE, replace(program(Ramp(Target(60.0), 5.0), Hold(900.0)), if_silent=Silence.GO_ON)),
    "alone": (alone, ATTENDED, None),
    "no person": (no_person, ATTENDED, TEST),
    "by hand": (by_hand, PLACE, None),
    "adopted": (adopted, PLACE, None),
    "adopted by nobody": (adopted_by_nobody, PLACE, TEST),
    "nobody answers": (nobody_answers, ATTENDED, TEST),
    "found without air": (found_without_air, PLACE, None),
    **{name: (_trouble(**fields), PLACE, None) for name, fields in TROUBLES.items()},
}


def play(name: str) -> Watching:
    """Play a script under the observer; raises AssertionError at the first law that is broken."""
    script, place, tested = SCRIPTS[name]
    w = Watching(place, tested, plant=Plant([FakeUnit(replace(u.profile, cooldown=QUICK)) for u in place.units]))
    script(w)
    return w
