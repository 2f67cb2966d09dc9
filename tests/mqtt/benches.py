"""Invented benches as they tell a broker of themselves, for the tests of who watches them."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from benchctl.core.shown import Snapshot
from benchctl.mqtt import drawn
from benchctl.mqtt.given import Heard, Stamp, Terms, Told
from benchctl.mqtt.payloads import Head, Presence
from benchctl.mqtt.topics import ALARMS, EVENT, PLATE, PRESENCE, SNAPSHOT, STATE, Leaf, Tree
from benchctl.mqtt.wire import Came
from tests.door.rooms import PLACE, SHOWN

NOON_S = 1_790_000_000.0
TERMS = Terms(rehearsal=False, version="0", snapshot_s=1.0, scan_period_s=0.5)


def stamp(seq: int, at_s: float, session: str = "s1") -> Stamp:
    """sent_at in UTC, whatever the zone of the computer that tests."""
    return Stamp(session, seq, datetime.fromtimestamp(at_s, UTC).isoformat(timespec="milliseconds"))


class Bench:
    """One bench that tells. skew_s: how far its clock is ahead of the true time."""

    def __init__(self, name: str = "northquay", *, world: Any = "real", session: str = "s1", skew_s: float = 0.0):
        self.tree, self.session, self.skew_s = Tree("benchctl", world, name), session, skew_s
        self.seq = 0

    def message(self, leaf: Leaf, noun: Head, *, retained: bool = False, what: str = "") -> Came:
        return Came(self.tree.topic(leaf, what), drawn.encoded(noun), retained)

    def stamp(self, at_s: float) -> Stamp:
        self.seq += 1
        return stamp(self.seq, at_s + self.skew_s, self.session)

    def plate(self, at_s: float = NOON_S, snapshot_s: float = 1.0) -> Came:
        terms = replace(TERMS, snapshot_s=snapshot_s)
        return self.message(PLATE, drawn.plate(self.stamp(at_s), at_s, PLACE, terms), retained=True)

    def presence(self, word: Any, at_s: float | None = NOON_S, why: str = "", *, retained: bool = True) -> Came:
        mark = self.stamp(at_s or NOON_S)
        at = drawn.moment(at_s) if at_s is not None else None
        noun = Presence(**mark.head(at), presence=word, why=why, connected_at=mark.sent_at, silent_after_s=5.0)
        return self.message(PRESENCE, noun, retained=retained)

    def snapshot(self, at_s: float = NOON_S, *, retained: bool = False, **shown: Any) -> Came:
        noun = drawn.live(self.stamp(at_s), Heard(now(**shown), "a-run"), PLACE)
        return self.message(SNAPSHOT, noun, retained=retained)

    def state(self, at_s: float = NOON_S, **shown: Any) -> Came:
        return self.message(STATE, drawn.state(self.stamp(at_s), Heard(now(**shown)), PLACE), retained=True)

    def alarms(self, at_s: float = NOON_S, **shown: Any) -> Came:
        return self.message(ALARMS, drawn.standing(self.stamp(at_s), Heard(now(**shown))), retained=True)

    def event(self, text: str, at_s: float = NOON_S) -> Came:
        noun = drawn.event(self.stamp(at_s), Told(7, at_s, 10.0, "command", text), 0)
        return self.message(EVENT, noun, what="command")


def now(**shown: Any) -> Snapshot:
    """A scan under load."""
    keys: dict[str, Any] = {"mode": "running", "loaded": True, "off": False, "program": "ladder"}
    return replace(SHOWN, **(keys | shown))


REST: dict[str, Any] = {"mode": "idle", "loaded": False, "off": True, "program": "", "delivered_kw": 0.0}
