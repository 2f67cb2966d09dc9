"""The small worlds by name. Most of SMALL close within seconds, a few within minutes; LARGE has not been closed yet."""

from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.site import WhenLost
from tests.core.worlds import program
from tests.explore.world import World

READY = ((), ("charge",), (), (), ())
LOADED = (*READY, ("60 kW",), (), ())
WELL = ("well",)
PEOPLE = ("attended", "alone")


def trouble(*doings: str, begin: tuple[tuple[str, ...], ...] = LOADED, **more: object) -> World:
    """Load is on, and the first unit may do these things in any order."""
    return World((("well", *doings), WELL), more.pop("commands", ("60 kW", "reset")), begin=begin, **more)  # type: ignore[arg-type]


def power(*sources: str, **more: object) -> World:
    """Load is on, and the source may do these things in any order."""
    return World(sources=("well", *sources), commands=("60 kW", "reset"), begin=LOADED, **more)  # type: ignore[arg-type]


SHORT_TEST = program(Ramp(Target(60.0), 4.0), Hold(4.0), Ramp(Target(0.0), 4.0))
WINDOW = (("block_window_s", 8.0),)
SLOWLY = (("largest_block_up_percent", 30.0), ("settle_s", 4.0))

SMALL: dict[str, World] = {
    # from the first contact on
    "first contact": World((("well", "no air"), WELL), ("charge", "60 kW", "drop")),
    "load found on": World(commands=("charge", "adopt", "unload", "drop"), on=(3, 0)),
    "found without air": World((("well", "no air"), WELL), ("charge", "adopt"), on=(1, 2)),
    "nobody there": World(commands=("charge", "60 kW", "here"), moments=PEOPLE),
    # one unit in trouble under load
    "air": trouble("no air", "air not known", "air"),
    "heat": trouble("warm", "hot", "no temperature"),
    "fans": trouble("no fan supply"),
    "stop": trouble("stop", commands=("60 kW", "reset", "fans")),
    "contactors": trouble("stuck", "fell", commands=("60 kW", "reset", "no load")),
    "another hand": trouble("foreign", "local"),
    "identity": trouble("another", "stranger", commands=("60 kW", "reset", "join why")),
    "lost": trouble("silent", "mute", commands=("60 kW", "reset", "join")),
    "restarted": trouble("restarted", commands=("60 kW", "reset", "join")),
    "site": trouble("site"),
    # closings that end badly
    "closings": World(
        commands=("60 kW", "80 kW", "no load", "reset"),
        endings=("done", "refused", "not sent", "in force", "lost"),
        begin=READY,
    ),
    # for one interlock each
    "air at rest": World((("well", "no air"), WELL), ("60 kW", "reset"), begin=READY),
    "air not known": trouble("air not known"),
    "hot": trouble("hot"),
    "both hot": World(
        (("well", "hot"), ("well", "hot")),
        ("60 kW", "reset"),
        begin=LOADED,
        site=(("when_lost", WhenLost.REDISTRIBUTE),),
    ),
    "fell": trouble("fell"),
    "local": trouble("local", begin=(*READY, ("80 kW",), ()), limits=SLOWLY, commands=("80 kW", "reset")),
    "refused": World(commands=("60 kW", "reset"), endings=("done", "refused"), begin=READY),
    "volts high": power("volts high"),
    "wind": trouble("stop", "air", "warm", commands=("fans",)),
    # the source in trouble
    "volts": power("volts low", "volts very low", "volts high"),
    "hertz": power("hertz low", "stalls"),
    "volts after a block": power("volts very low", limits=WINDOW),
    "hertz after a block": power("hertz very low", limits=WINDOW),
    "phase": power("phase lost"),
    "amps": power("over-current", "amps well"),
    "kilowatts": power("over-power", "power well"),
    "meter": power("no hertz", "silent", "site needs it"),
    # time, record, people, hands
    "time": World(commands=("60 kW", "resume"), moments=("", "gap", "late"), begin=(*READY, ("60 kW",))),
    "record": World(commands=("60 kW", "resume", "no load"), moments=("", "no record"), begin=LOADED),
    "by hand": World(
        commands=("by hand", "close", "open", "point", "resume", "drop", "reset"),
        endings=("done", "refused", "not sent"),
        begin=READY,
    ),
    "blocks": World(
        commands=("80 kW", "20 kW", "unload", "reset"),
        begin=READY,
        limits=SLOWLY,
    ),
    "program": World(commands=("start", "pause", "resume", "skip", "drop", "reset"), begin=READY, program=SHORT_TEST),
    # nothing but the guard before the units
    "reckless": World((("well", "no air"), WELL), ("charge", "20 kW", "drop", "reset"), reckless=True),
    "reckless and hot": World((("well", "hot", "local"), WELL), ("20 kW", "60 kW"), begin=LOADED, reckless=True),
    "reckless with power": World(
        sources=("well", "over-power", "volts high"), commands=("20 kW", "60 kW"), begin=LOADED, reckless=True
    ),
    "reckless in blocks": World(commands=("20 kW", "60 kW"), begin=READY[:2], limits=SLOWLY, reckless=True),
    "reckless and slow": World(
        (("well", "stuck"), WELL), ("20 kW", "60 kW"), begin=READY[:2], follow_s=4.0, reckless=True
    ),
    "reckless and stuck": World(
        (("well", "stuck"), WELL), ("20 kW", "60 kW"), begin=READY, endings=("done", "lost"), reckless=True
    ),
}
LARGE: dict[str, World] = {
    "two banks, bursts of two": World(
        (("well", "no air", "silent"), ("well", "no air", "stuck")),
        ("charge", "60 kW", "drop", "reset", "unload"),
        longest=2,
    ),
}
WORLDS = SMALL | LARGE
