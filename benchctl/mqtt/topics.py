"""The topic tree of a bench: where each message is published, how, and what is in it.

    ROOT/WORLD/BENCH/presence       retained  QoS 1   online, silent or offline: birth, last will, farewell
    ROOT/WORLD/BENCH/plate          retained  QoS 1   what the bench is: source, units, instruments, rate
    ROOT/WORLD/BENCH/state          retained  QoS 1   the bench in a few words and figures, when the words change
    ROOT/WORLD/BENCH/snapshot       live      QoS 0   one scan, every value with its age, at the rate of the plate
    ROOT/WORLD/BENCH/alarms         retained  QoS 1   all alarms that stand, when they change
    ROOT/WORLD/BENCH/event/WHAT     live      QoS 1   something that happened; WHAT says what kind
    ROOT/WORLD/BENCH/run            retained  QoS 1   the run in hand or the last one: outcome, totals, verdicts

ROOT is the broker file's, `benchctl` by default. WORLD is `real` or `rehearsal`, so that a rehearsal never arrives
where real benches are looked for. BENCH is the site's name, or what the broker file calls it. WHAT has _ for the
spaces of an event's kind: `event/returned_to_normal`.

What is live is never retained: nothing old ever arrives under `snapshot` or `event`. What is retained may be old when
it arrives: it says when it was told (`sent_at`). A bench is live while its presence is `online` and snapshots come.
"""

from dataclasses import dataclass
from typing import Literal
from urllib.parse import quote, unquote

from benchctl.mqtt.payloads import Event, Head, Live, Plate, Presence, Run, Standing, State

World = Literal["real", "rehearsal"]
WORLDS: tuple[World, ...] = ("real", "rehearsal")
_RESERVED = "/+#%$"  # separate levels, filter, encode, and belong to the broker


@dataclass(frozen=True, slots=True)
class Leaf:
    """One kind of message. qos: as published; a subscriber may get less. noun: what its JSON object holds."""

    name: str
    noun: type[Head]
    retained: bool
    qos: Literal[0, 1]
    says: str


PRESENCE = Leaf("presence", Presence, True, 1, "whether the bench can be heard: birth, last will and farewell")
PLATE = Leaf("plate", Plate, True, 1, "what the bench is: source, units, instruments, rate of snapshots")
STATE = Leaf("state", State, True, 1, "the bench in a few words and figures: when the words change, else every 10 s")
SNAPSHOT = Leaf("snapshot", Live, False, 0, "one scan, every value with its age: at the rate that the plate states")
ALARMS = Leaf("alarms", Standing, True, 1, "all alarms that stand, the first first: when one of them changes")
EVENT = Leaf("event", Event, False, 1, "something that happened; the level below says what kind")
RUN = Leaf("run", Run, True, 1, "the run in hand or the last one: outcome, totals, verdicts")
LEAVES = (PRESENCE, PLATE, STATE, SNAPSHOT, ALARMS, EVENT, RUN)
BY_NAME = {leaf.name: leaf for leaf in LEAVES}


@dataclass(frozen=True, slots=True)
class Place:
    """Where a message belongs. what: of an event, else empty."""

    world: World
    bench: str
    leaf: Leaf
    what: str = ""


@dataclass(frozen=True, slots=True)
class Tree:
    """The topics of one bench. root: one or more levels."""

    root: str
    world: World
    bench: str

    def topic(self, leaf: Leaf, what: str = "") -> str:
        """Where a kind of message is published; what: of an event."""
        ending = f"/{level(what.replace(' ', '_'))}" if what else ""
        return f"{self.root}/{self.world}/{level(self.bench)}/{leaf.name}{ending}"


def everything(root: str) -> str:
    """A filter for every message of every bench under a root."""
    return f"{root}/+/+/#"


def placed(topic: str, root: str) -> Place | None:
    """What a topic says of its message; None for one that is not of this tree."""
    if not topic.startswith(f"{root}/"):
        return None
    match topic[len(root) + 1 :].split("/"):
        case [("real" | "rehearsal") as world, bench, "event", what] if bench and what:
            return Place(world, unquote(bench), EVENT, unquote(what).replace("_", " "))
        case [("real" | "rehearsal") as world, bench, name] if bench and name in BY_NAME and name != "event":
            return Place(world, unquote(bench), BY_NAME[name])
    return None


def level(name: str) -> str:
    """A name as one level of a topic: what would separate, filter or not print is percent-encoded."""
    return "".join(c if c.isprintable() and c not in _RESERVED else quote(c, safe="") for c in name)
