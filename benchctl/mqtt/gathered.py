"""What has come of many benches, and what can be believed of it now.

A bench is live by what arrives, not by what is written in it: a snapshot that was not kept by the broker, that is newer
than the last of its session, and that came within a few of its periods by this computer's own clock. So no clock of
anybody else can make something old look live. What was sent long before it came (a network that has stood still gives
all of it at once) shows by its own time: it took so many seconds longer than the quickest of the last minutes did,
which is all that can be known between two clocks that nobody compares. A delay that stays the same for longer than
WINDOW_S is then taken for a difference of the clocks, which is told beside it.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from benchctl.core.reading import Maybe
from benchctl.mqtt.payloads import Event, Head, Live, Plate, Presence, Run, Standing, State
from benchctl.mqtt.picture import Bench, Life
from benchctl.mqtt.read import Flaw, read
from benchctl.mqtt.topics import PRESENCE, Place, Tree, placed

PERIODS = 3.5  # of its snapshots without one: then it is stale
STALE_S = 2.5  # at least
LOST_S = 30.0  # at least
WINDOW_S = 300.0
MOST = 2000  # benches
SESSIONS = 4  # that are remembered of a bench


@dataclass(slots=True)
class Delay:
    """How long messages take. None of two clocks is believed: only what is more than the least counts."""

    _least_s: float = float("inf")
    _before_s: float = float("inf")
    _since_s: float = float("-inf")

    def took(self, sent_s: float, now_s: float) -> float:
        """A message came; returns how many seconds longer it took than the quickest of late. now_s: never goes back."""
        if now_s - self._since_s > WINDOW_S:
            self._before_s, self._least_s, self._since_s = self._least_s, float("inf"), now_s
        self._least_s = min(self._least_s, now_s - sent_s)
        return now_s - sent_s - self.least_s

    @property
    def least_s(self) -> float:
        """Of the last minutes, both clocks' difference included."""
        return min(self._least_s, self._before_s)


@dataclass(slots=True)
class _Kept:
    """What has come of one bench. came_s: when `live` did."""

    key: str
    name: str
    rehearsal: bool
    since_s: float
    came_s: Maybe = None
    late_s: float = 0.0
    missed: int = 0
    flaws: int = 0
    flaw: str = ""
    presence: Presence | None = None
    plate: Plate | None = None
    live: Live | None = None
    state: State | None = None
    standing: Standing | None = None
    run: Run | None = None
    event: Event | None = None
    delay: Delay = field(default_factory=Delay)
    sessions: deque[str] = field(default_factory=lambda: deque(maxlen=SESSIONS))
    rival_s: Maybe = None  # when it last was told by two

    @property
    def stale_s(self) -> float:
        return max(STALE_S, PERIODS * self.plate.snapshot_s) if self.plate is not None else STALE_S

    @property
    def lost_s(self) -> float:
        return max(LOST_S, 3.0 * self.stale_s)


class Gathered:
    """Many benches. clock: seconds that never go back; wall: seconds since 1970."""

    def __init__(self, root: str, clock: Callable[[], float], wall: Callable[[], float]) -> None:
        self.cut = "not connected yet"  # why nothing comes, empty while it does
        self.strays = 0  # messages of nobody that is known, and what was wrong with the last of them
        self.stray = ""
        self._root, self._clock, self._wall = root, clock, wall
        self._heard_s = clock()  # since when things come
        self._kept: dict[str, _Kept] = {}

    def heard(self) -> None:
        """From now on messages come: what has not come before may do so."""
        self.cut, self._heard_s = "", self._clock()

    def take(self, topic: str, payload: bytes, *, retained: bool) -> str | None:
        """A message; returns the key of the bench that it is of. Never raises, whatever it is."""
        place = placed(topic, self._root)
        if place is None or len(place.bench) > 200:
            self._stray(f"{topic[:80]!r} is no topic of a bench")
            return None
        kept = self._of(place, new=bool(payload))
        if kept is None:
            return None
        try:
            if payload:
                self._put(kept, read(place.leaf.noun, payload), retained)
            elif place.leaf is PRESENCE:
                self._withdrawn(kept)
        except Flaw as flaw:
            kept.flaws += 1
            kept.flaw = f"{place.leaf.name}: {flaw}"
        return kept.key

    def tell(self, tree: Tree, noun: Head) -> str | None:
        """The same from nearer by, where it need not be read; returns the key of the bench."""
        kept = self._of(Place(tree.world, tree.bench, PRESENCE), new=True)
        if kept is not None:
            self._put(kept, noun, retained=False)
        return kept.key if kept is not None else None

    def benches(self) -> list[Bench]:
        """All of them as they are now, by name."""
        return [self._bench(self._kept[key]) for key in sorted(self._kept)]

    def bench(self, key: str) -> Bench | None:
        """One of them."""
        kept = self._kept.get(key)
        return None if kept is None else self._bench(kept)

    def _of(self, place: Place, *, new: bool) -> _Kept | None:
        """What is kept of a bench; None where there is none, and none is to be or there are too many."""
        key = f"{place.world}/{place.bench}"
        if key not in self._kept and new:
            if len(self._kept) >= MOST:
                self._stray(f"more than {MOST} benches: {key} is left out")
                return None
            self._kept[key] = _Kept(key, place.bench, place.world == "rehearsal", self._clock())
        return self._kept.get(key)

    def _stray(self, why: str) -> None:
        self.strays += 1
        self.stray = why

    def _withdrawn(self, kept: _Kept) -> None:
        """Somebody has taken a bench's presence off the broker: one that is not heard is not there any more."""
        kept.presence = None
        if kept.live is None or self._life(kept)[0] not in (Life.LIVE, Life.LATE):
            del self._kept[kept.key]

    def _put(self, kept: _Kept, noun: Head, retained: bool) -> None:
        if retained and isinstance(noun, (Live, Event)):
            raise Flaw("was kept by the broker: it may be of any age, and is not used")
        match noun:
            case Live():
                self._show(kept, noun)
            case Presence():
                kept.presence = noun
            case Plate():
                kept.plate = noun
            case State():
                kept.state = noun
            case Standing():
                kept.standing = noun
            case Run():
                kept.run = noun
            case Event():
                kept.event = noun

    def _show(self, kept: _Kept, live: Live) -> None:
        now_s, last = self._clock(), kept.live
        sent_s = _seconds(live)
        if last is not None and last.session == live.session:
            if live.seq <= last.seq:
                raise Flaw(f"number {live.seq} has come after {last.seq}: not used")
            kept.missed += live.seq - last.seq - 1
        else:
            if live.session in kept.sessions:
                kept.rival_s = now_s
            kept.sessions.append(live.session)
            kept.missed, kept.delay = 0, Delay()
        kept.late_s = kept.delay.took(sent_s, now_s)
        kept.live, kept.came_s = live, now_s
        if kept.presence is not None and kept.presence.presence == "offline":
            kept.presence = None  # it came before this

    # -- what can be believed now

    def _bench(self, kept: _Kept) -> Bench:
        life, why = self._life(kept)
        return Bench(
            key=kept.key,
            name=kept.name,
            rehearsal=kept.rehearsal,
            life=life,
            why=why,
            age_s=self._age_s(kept),
            clock_s=self._clock_s(kept),
            missed=kept.missed,
            flaws=kept.flaws,
            flaw=kept.flaw,
            presence=kept.presence,
            plate=kept.plate,
            live=kept.live,
            state=kept.state,
            standing=kept.standing,
            run=kept.run,
            event=kept.event,
        )

    def _age_s(self, kept: _Kept) -> Maybe:
        if kept.came_s is not None:
            return self._clock() - kept.came_s + kept.late_s
        if kept.state is None:
            return None
        try:
            return max(0.0, self._wall() - _seconds(kept.state))  # by two clocks that nobody compares
        except Flaw:
            return None

    def _clock_s(self, kept: _Kept) -> Maybe:
        return None if kept.came_s is None else kept.delay.least_s + self._wall() - self._clock()

    def _life(self, kept: _Kept) -> tuple[Life, str]:
        presence, now_s = kept.presence, self._clock()
        if presence is not None and presence.presence == "offline":
            if presence.at is None:
                return Life.LOST, f"{presence.why or 'the broker misses its run host'}{_since(presence)}"
            return Life.LEFT, f"{presence.why or 'its run host has ended'}{_since(presence)}"
        if self.cut:
            return Life.STALE if kept.came_s is None or now_s - kept.came_s < kept.lost_s else Life.LOST, "no broker"
        if kept.came_s is None:
            return self._unheard(kept, now_s)
        quiet_s = now_s - kept.came_s
        if presence is not None and presence.presence == "silent":
            return Life.SILENT, presence.why or "its run host has not heard the bench for a while"
        if quiet_s >= kept.lost_s:
            return Life.LOST, "nothing has come of it for long"
        if quiet_s > kept.stale_s:
            return Life.STALE, "nothing comes of it"
        if kept.late_s > kept.stale_s:
            return Life.LATE, f"what comes was sent {kept.late_s:.0f} s before, or its clock was set back"
        if kept.rival_s is not None and now_s - kept.rival_s < LOST_S:
            return Life.LIVE, "two run hosts tell of it in turn"
        return Life.LIVE, ""

    def _unheard(self, kept: _Kept, now_s: float) -> tuple[Life, str]:
        """Nothing of now has come of it yet."""
        waited_s = now_s - max(kept.since_s, self._heard_s)
        if kept.presence is None:
            return Life.LOST, "nothing says that its run host is there"
        if kept.presence.presence == "silent":
            return Life.SILENT, kept.presence.why or "its run host has not heard the bench for a while"
        if waited_s <= max(2.0 * STALE_S, 2.0 * kept.stale_s):
            return Life.WAITING, ""
        return (Life.LOST if waited_s >= kept.lost_s else Life.STALE), "it is said to be there, but nothing comes of it"


def _seconds(head: Head) -> float:
    """When a message was sent, in seconds since 1970 by its sender's clock. Raises Flaw."""
    try:
        sent = datetime.fromisoformat(head.sent_at)
        if sent.tzinfo is not None:
            return sent.timestamp()
    except (ValueError, OverflowError, OSError):
        pass
    raise Flaw(f"sent_at is {head.sent_at[:40]!r}, expected a time with its offset in ISO 8601")


def _since(presence: Presence) -> str:
    try:
        at = datetime.fromisoformat(presence.at or presence.sent_at)
    except ValueError:
        return ""
    return f"{' at' if presence.at else '; it came there'} {at:%Y-%m-%d %H:%M:%S %z}".rstrip()
