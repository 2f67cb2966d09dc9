"""Control actions of the bench and of its operator, each given, not given, mistimed or for too long, as STPA asks.

Of each control action it asks four things: is it a hazard when it is not given, when it is given, when it comes too
early or too late, when it lasts too long or ends too soon (from the STPA handbook of 2018, from memory).
A cell names the hazards of `hazards.py` that it leads to, or says why it leads to none.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Cell:
    """hazards: keys of hazards.py; empty: not hazardous, and `why` says why. why: what happens, in one sentence."""

    why: str
    hazards: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Action:
    """One control action. guards: who keeps it from being unsafe, in words."""

    name: str
    by: str
    not_given: Cell
    given: Cell
    mistimed: Cell
    too_long: Cell
    guards: str

    @property
    def cells(self) -> tuple[tuple[str, Cell], ...]:
        return (
            ("not given", self.not_given),
            ("given when it should not be", self.given),
            ("too early, too late, out of order", self.mistimed),
            ("too long, or ended too soon", self.too_long),
        )


ACTIONS: tuple[Action, ...] = (
    Action(
        "close a stage",
        "guard, dispatch",
        not_given=Cell("The target is missed; that is told, and a verdict of the test is open."),
        given=Cell(
            "A stage closes without air, on wrong volts, in the wrong unit, or above a limit.",
            ("load without air", "wrong connection", "unit swapped", "unintended step", "source overloaded"),
        ),
        mistimed=Cell(
            "Before the openings it waits for, before the air, or after a hole in time.",
            ("unintended step", "load without air", "controller stalled", "block too large"),
        ),
        too_long=Cell(
            "A closing that is repeated comes when nobody expects it any more.", ("unintended step", "two masters")
        ),
        guards="A closing goes out once, on a reading of its own scan, and only if every condition of its unit holds.",
    ),
    Action(
        "open a stage",
        "guard, interlocks",
        not_given=Cell(
            "Load stays where air, volts or the source fail.",
            ("load without air", "exhaust too hot", "wrong connection", "source overloaded", "will not open"),
        ),
        given=Cell(
            "Load is lost in the middle of a test, or all at once.", ("load rejection", "report claims too much")
        ),
        mistimed=Cell(
            "Late by a scan, or behind a mute unit on the same line.",
            ("load without air", "source overloaded", "unit lost"),
        ),
        too_long=Cell("Repeated until it is read back, which opens what is open: not hazardous."),
        guards="Openings are levels: first of all writes, repeated, to answering units before mute ones.",
    ),
    Action(
        "fan on",
        "cool-down, guard",
        not_given=Cell("Resistors without air.", ("load without air", "fans stopped hot")),
        given=Cell(
            "A fan starts while somebody works at it, after the emergency stop of its unit.", ("fans stopped hot",)
        ),
        mistimed=Cell(
            "All fans at once pull a small set down; a fan that runs before its proof was seen off proves nothing.",
            ("source overloaded", "proof stuck"),
        ),
        too_long=Cell("A fan that runs too long costs noise and power only: not hazardous."),
        guards="One fan after the other; after an emergency stop only when confirmed; otherwise whatever is hot or "
        "not known.",
    ),
    Action(
        "fan off",
        "cool-down",
        not_given=Cell("The fan runs on: not hazardous."),
        given=Cell("Fans stop on hot resistors, or under load.", ("fans stopped hot", "load without air")),
        mistimed=Cell(
            "Before the debt is paid, by a sensor that reads cold.", ("fans stopped hot", "temperature sensor")
        ),
        too_long=Cell(
            "It stays off when load comes on: the next closing waits for air that was seen.", ("load without air",)
        ),
        guards="Only a paid debt, or a recorded override of a unit without load, ends a fan; the guard starts fans "
        "and never stops one.",
    ),
    Action(
        "feed the watchdog",
        "guard",
        not_given=Cell("The unit drops its load: lost for the test, a rejection for the source.", ("load rejection",)),
        given=Cell(
            "A unit is fed by a bench that does not decide, or in a drop that is not in force.",
            ("controller killed", "will not open"),
        ),
        mistimed=Cell("Too late: as not given. Too early: not fed twice, which changes nothing.", ("load rejection",)),
        too_long=Cell(
            "Fed on although load should be off: the unit's own defence is kept from acting.",
            ("controller killed", "unit lost"),
        ),
        guards="Written last, in a scan whose decision returned; never while a drop is in force and load may be on; "
        "a unit that has not joined is not fed.",
    ),
    Action(
        "unload",
        "anybody",
        not_given=Cell(
            "Load stays on when nobody is there or the test is over.", ("nobody there", "console dead", "load found on")
        ),
        given=Cell("A test is lost: not hazardous, steps bound what the source sees."),
        mistimed=Cell("Too late for a fault that needs a drop.", ("source overloaded", "load without air")),
        too_long=Cell(
            "A step that is not read back holds up the next: what does not open is told.",
            ("will not open", "unit lost"),
        ),
        guards="Never refused, never too old; trips that need it at once are drops; units without air go off by "
        "themselves.",
    ),
    Action(
        "drop",
        "anybody, interlocks",
        not_given=Cell(
            "Everything stays on: a screen, a line or the run host is gone.",
            ("console dead", "controller killed", "strangers", "paste"),
        ),
        given=Cell("Load rejection, the test is lost.", ("load rejection", "paste", "strangers")),
        mistimed=Cell("It waits behind a read or a mute unit.", ("unit lost", "source overloaded")),
        too_long=Cell(
            "It ends before all is read back open; or a start in the same scan calls it off.",
            ("will not open", "unintended step"),
        ),
        guards="The very next write, to every unit, whatever is known; it cuts reads and writes short and stays "
        "until a reset that finds all open. The hard-wired stop does not need us.",
    ),
    Action(
        "adopt",
        "whoever has charge",
        not_given=Cell("Load stays that nobody answers for: it comes off after the site's time.", ("load found on",)),
        given=Cell(
            "Somebody else's test becomes ours; a unit whose air nobody has seen carries load.",
            ("two masters", "load without air", "unit swapped"),
        ),
        mistimed=Cell("After the load has gone, or before the unit is identified.", ("load found on", "unit swapped")),
        too_long=Cell("Adopted load stays adopted and can be lowered at any time: not hazardous by itself."),
        guards="Only as it is read back, only what is what its profile says; raised only with air seen off and on.",
    ),
    Action(
        "take over",
        "anybody at a console",
        not_given=Cell(
            "Whoever has charge is gone and nobody orders; unload and drop are still everybody's.", ("nobody there",)
        ),
        given=Cell("Two people order one bench.", ("two people",)),
        mistimed=Cell("In the middle of the other's order: each order is one scan, in its turn.", ("two people",)),
        too_long=Cell("Charge stays with whoever has left.", ("console dead", "nobody there")),
        guards="With a reason, told to both, moves no load; orders of who only watches are refused by name.",
    ),
)
