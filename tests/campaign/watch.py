"""Judges what is physically true, once a scan, and says which law it breaks.

It knows the world (`truth`), the figures of the site's files, what was commanded and when, what faults there were, and
what the screen says; nothing of the product's code. Where a fault keeps a unit from being reached, or a sensor from
being honest, it asks nothing of that unit. It gives more time than the product needs, never less than a law allows.

The laws: drop (1), closing (2: only with air, fan, charge, in a unit that was not lost), heat (3: hot means fan, load
means air), limits (4), nothing comes back by itself (5), holes in time (6), told as it is (7), attendance, dead (nobody
alive, nothing rises), and the end: all is off and cold, or its fan turns.
"""

from dataclasses import dataclass, field

from tests.campaign.known import Heard, Place, Told
from tests.campaign.truth import ASTRAY, DEAF, SOURCE, WRITING, Fact, Truth

SOUND_S = 8.0  # after a fault of its wire: connections are made anew, a restarted unit boots
BRISK_S = 2.5  # from something that every scan sees to no load: two scans, contactors, a set point
ASKS = frozenset({"resume", "answer", "set load", "start", "skip", "join", "switch", "adopt", "reset", "take charge"})
LONG_S = 1e9


@dataclass(slots=True)
class _Unit:
    """What is remembered of one unit. Times are seconds since something, LONG_S = never."""

    unsound_s: float = LONG_S
    fault_s: float = LONG_S  # as unsound_s, of faults alone: a computer that stalls is no fault of the unit
    idle: int = 0  # scans in which it had no load, though the same order stood in it
    dishonest_s: float = LONG_S  # sensors of air and heat
    silent_s: float = 0.0  # cannot be heard, without a break
    lost: bool = False  # so long that it must be joined
    restarted: bool = False  # with load ordered
    found: bool = False  # load was on when this session began
    airless_s: float = 0.0  # with load on
    cooled_s: float = 0.0  # with air and without load
    fanless_s: float = 0.0  # though it must have it
    untold_s: float = 0.0
    withdrawn: bool = False
    forgiven: bool = False  # an override of its cool-down
    loaded: bool = False  # ever, in this universe
    frozen: bool = False  # its temperature cannot be relied on


@dataclass(slots=True)
class Watch:
    """The observer. `look` is called once a scan, and while nobody is alive; `broken` gathers (law, time, text)."""

    place: Place
    broken: list[tuple[str, float, str]] = field(default_factory=list)
    seen: dict[str, int] = field(default_factory=dict)  # how often there was something to judge
    _before: Truth | None = None
    _units: list[_Unit] = field(default_factory=list)
    _alive_s: float = 0.0  # of this session
    _charge_s: float = -1.0  # since charge was asked for in this session; -1: it was not
    _drop_s: float = -1.0  # since a drop without a reset; -1: there is none
    _drop_due: list[bool] = field(default_factory=list)
    _hole: bool = False
    _stop: bool = False  # an emergency stop that nobody has reset
    _stop_s: float = 0.0  # how long one has been operated at a unit that says so
    _slow_s: float = 0.0  # how long the source has been far too slow
    _source_s: float = LONG_S
    _astray_s: float = LONG_S
    _metre_s: float = LONG_S
    _over_s: float = 0.0
    _alone_s: float = 0.0
    _quiet_s: float = 0.0  # since the last command
    _unasked_s: float = 0.0  # the same, with load on
    _dead: bool = True

    def __post_init__(self) -> None:
        self._units = [_Unit() for _ in self.place.banks]
        self._drop_due = [False for _ in self.place.banks]

    def say(self, law: str, text: str, unit: int | None = None) -> None:
        """A law is broken."""
        where = "" if unit is None else f"{self.place.banks[unit].name}: "
        self.broken.append((law, round(self._before.t if self._before else 0.0, 3), where + text))

    def begin(self) -> None:
        """A session begins: the process has been started."""
        self._alive_s, self._charge_s, self._dead, self._hole = 0.0, -1.0, False, False
        self._drop_s, self._stop, self._alone_s, self._quiet_s = -1.0, False, 0.0, 0.0
        for u, fact in zip(self._units, self._before.units if self._before else (), strict=False):
            u.found, u.lost, u.restarted, u.withdrawn, u.forgiven = fact.closed != 0, False, False, False, False
            u.fanless_s = u.untold_s = u.airless_s = u.cooled_s = 0.0

    def die(self) -> None:
        """The process is gone."""
        self._dead = True

    def stand_still(self, seconds: float) -> None:
        """The computer has not run for so long: what was due in that time is asked of nobody."""
        self._hole = self._hole or seconds > self.place.gap_s + self.place.period_s
        for u in self._units:
            u.unsound_s = 0.0
        self._drop_due = [False for _ in self._units]

    def look(self, now: Truth, heard: tuple[Heard, ...] = (), told: Told | None = None, attached: bool = True) -> None:
        """Judge one scan: the world after it, the commands that went into it, and what was told."""
        before = self._before or now
        self._before = now
        dt_s = now.t - before.t
        self._faults(now, dt_s)
        self._commands(heard, dt_s)
        for i, (u, was, is_) in enumerate(zip(self._units, before.units, now.units, strict=True)):
            self._follow(u, was, is_, dt_s)
            if self._dead:
                if self._rises(i, was, is_) and u.unsound_s > SOUND_S:
                    self.say("dead", "an order rises though nobody is alive", i)
                continue
            if self._rises(i, was, is_):
                self._rise(i, u, was, is_)
            self._returns(i, u, was, is_)
            self._air(i, u, is_, dt_s)
            self._heat(i, u, was, is_, dt_s)
            self._dropped(i, u, is_)
        if not self._dead:
            self._all_off(now, dt_s)
            self._limits(before, now, dt_s)
            self._people(now, attached, dt_s)
            self._words(before, now, told, dt_s)

    # -- memory

    def _faults(self, now: Truth, dt_s: float) -> None:
        self._alive_s += dt_s
        for u, bank in zip(self._units, self.place.banks, strict=True):
            mine = {name for name, on in now.faults if on in (bank.name, bank.socket)}
            u.unsound_s = 0.0 if mine & WRITING else min(u.unsound_s + dt_s, LONG_S)
            u.fault_s = 0.0 if mine & WRITING else min(u.fault_s + dt_s, LONG_S)
            wrong = mine & {"airflow proof stuck", "temperature sensor lost", "temperature sensor frozen", "swapped"}
            u.dishonest_s = 0.0 if wrong else min(u.dishonest_s + dt_s, LONG_S)
            u.frozen = u.frozen or bool(mine & {"temperature sensor lost", "temperature sensor frozen"})
            u.silent_s = u.silent_s + dt_s if mine & DEAF else 0.0
            u.lost = u.lost or u.silent_s >= self.place.lost_s + 2.5
            if "emergency stop" in mine:
                u.withdrawn, self._stop = True, self._stop or not (mine & WRITING - {"emergency stop"})
            if "restarts" in mine and self._before is not None:
                u.restarted = u.restarted or u.loaded
        pressed = [
            b.name
            for b in self.place.banks
            if ("emergency stop", b.name) in now.faults
            and not any(on in (b.name, b.socket) and name in WRITING - {"emergency stop"} for name, on in now.faults)
        ]
        self._stop_s = self._stop_s + dt_s if pressed and not self._dead else 0.0
        names = {name for name, _ in now.faults}
        self._astray_s = 0.0 if names & ASTRAY else min(self._astray_s + dt_s, LONG_S)
        self._source_s = 0.0 if names & SOURCE else min(self._source_s + dt_s, LONG_S)
        meters = {"meter frozen", "meter lost", "transformer reversed", "transformers exchanged", "wrong ratio",
                  "volts lost at meter", "fuse blown"}  # fmt: skip
        self._metre_s = 0.0 if names & meters else min(self._metre_s + dt_s, LONG_S)

    def _commands(self, heard: tuple[Heard, ...], dt_s: float) -> None:
        self._charge_s = self._charge_s + dt_s if self._charge_s >= 0.0 else self._charge_s
        self._drop_s = self._drop_s + dt_s if self._drop_s >= 0.0 else self._drop_s
        self._quiet_s = 0.0 if heard else self._quiet_s + dt_s
        for c in heard:
            self._hole = self._hole and c.verb not in ASKS
            if c.verb == "take charge" or (c.verb in ("unload", "answer") and self._charge_s < 0.0):
                self._charge_s = max(self._charge_s, 0.0)
                for u in self._units:
                    u.lost = u.restarted = False
            elif c.verb == "join" and c.unit is not None:
                self._units[c.unit].lost = self._units[c.unit].restarted = False
            elif c.verb == "reset":
                self._drop_s, self._stop = -1.0, False
            elif c.verb == "confirm fans" and c.unit is not None:
                self._units[c.unit].withdrawn = False
            elif c.verb == "override" and c.text == "cool-down" and c.unit is not None:
                self._units[c.unit].forgiven = True
            if c.verb in ("adopt", "answer", "unload", "drop"):
                for u in self._units:
                    u.found = False
        if any(c.verb == "drop" for c in heard) and not self._dead:
            self._drop_s = 0.0
            self._drop_due = [u.unsound_s > SOUND_S for u in self._units]

    def _follow(self, u: _Unit, was: Fact, is_: Fact, dt_s: float) -> None:
        u.loaded = u.loaded or is_.closed != 0
        u.forgiven = u.forgiven and is_.closed == 0
        u.cooled_s = 0.0 if is_.closed or was.closed else u.cooled_s + (dt_s if is_.air or was.air else 0.0)

    def _rises(self, i: int, was: Fact, is_: Fact) -> bool:
        """An order that stands in a unit is above what stood there: more contactors, or a higher set point."""
        return bool(is_.order & ~was.order) if self.place.banks[i].staged else is_.order > was.order

    def _count(self, what: str) -> None:
        self.seen[what] = self.seen.get(what, 0) + 1

    # -- laws

    def _rise(self, i: int, u: _Unit, was: Fact, is_: Fact) -> None:
        """Laws 1, 2, 5 and 6 at an order that rises."""
        if ("other master", self.place.banks[i].name) in (self._before.faults if self._before else ()):
            return
        if u.unsound_s < 1.5:  # somebody else may have written it within this very scan
            return
        self._count("closings")
        if self._charge_s < 0.0:
            self.say("2", "an order rises though nobody has taken charge", i)
        if self._drop_s >= 0.0:
            self.say("1", "an order rises after a drop that nobody has reset", i)
        if self._hole:
            self.say("6", "an order rises after a hole in time that nobody has answered", i)
        if u.lost:
            self.say("5", "an order rises in a unit that was lost and has not been joined", i)
        if self._stop:
            self.say("5", "an order rises after an emergency stop that nobody has reset", i)
        if u.dishonest_s > 1.5 and not is_.air and not was.air:
            self.say("2", "an order rises without air", i)
        if not is_.fan_ordered and not was.fan_ordered:
            self.say("2", "an order rises and the fan is not ordered on", i)
        if u.found:
            self.say("5", "an order rises in a unit whose load was found on and not decided about", i)
        if is_.exhaust_c > self.place.banks[i].exhaust_trip_c + 5.0 and not u.frozen:
            self.say("2", f"an order rises at {is_.exhaust_c:.0f} degC", i)

    def _returns(self, i: int, u: _Unit, was: Fact, is_: Fact) -> None:
        """Law 5 where nobody orders: load that went off must not come back because its order still stands."""
        stood = is_.order == was.order and is_.order != 0
        back = stood and is_.closed and not was.closed and u.idle > 1
        u.idle = u.idle + 1 if stood and not is_.closed else 0
        ours = self._charge_s > BRISK_S and self._alive_s > SOUND_S and not u.found and not u.lost
        if back and ours and u.fault_s > BRISK_S:
            self.say("5", f"{is_.closed_kw:.0f} kW come back by themselves: their order has stood in it", i)

    def _air(self, i: int, u: _Unit, is_: Fact, dt_s: float) -> None:
        """Load without air goes at once where it can be seen and the unit can be reached."""
        u.airless_s = u.airless_s + dt_s if is_.closed and not is_.air else 0.0
        if is_.closed:
            self._count("loaded scans")
        if u.airless_s > BRISK_S and self._ours(u) and u.dishonest_s > SOUND_S:
            self.say("3", f"load without air for {u.airless_s:.1f} s", i)

    def _ours(self, u: _Unit) -> bool:
        """It can be reached, has been for a while, and somebody has charge of it and has decided what is on."""
        return (
            u.unsound_s > SOUND_S
            and self._charge_s > BRISK_S
            and self._alive_s > SOUND_S
            and not u.found
            and not u.lost
        )

    def _heat(self, i: int, u: _Unit, was: Fact, is_: Fact, dt_s: float) -> None:
        """A hot unit, or one with load, has its fan ordered on, for its whole debt."""
        bank = self.place.banks[i]
        reference_c = is_.inlet_c if bank.reference_c is None else bank.reference_c
        hot = is_.closed or is_.element_c > reference_c + bank.margin_k + 5.0
        must = hot and self._ours(u) and not u.withdrawn and not u.forgiven
        u.fanless_s = u.fanless_s + dt_s if must and not is_.fan_ordered else 0.0
        if hot:
            self._count("hot scans")
        if u.fanless_s > len(self.place.banks) * self.place.fan_gap_s + 2.0 * self.place.period_s + 1.0:
            self.say("3", f"{is_.element_c:.0f} degC and its fan has not been ordered on for {u.fanless_s:.1f} s", i)
        stopped = was.fan_ordered and not is_.fan_ordered and u.loaded
        if not stopped or not self._ours(u) or u.withdrawn or u.forgiven:
            return
        self._count("fans stopped")
        if u.cooled_s < bank.minimum_s - 2.0 * self.place.period_s and u.dishonest_s > SOUND_S:
            self.say(
                "3",
                f"its fan is stopped after {u.cooled_s:.1f} s of air without load, {bank.minimum_s:.0f} s are owed",
                i,
            )
        if is_.exhaust_c > reference_c + bank.margin_k + 3.0 and not u.frozen:
            self.say("3", f"its fan is stopped at {is_.exhaust_c:.0f} degC", i)

    def _dropped(self, i: int, u: _Unit, is_: Fact) -> None:
        """After a drop every unit that can be reached is without load within a scan and its contactors' time."""
        self._drop_due[i] = self._drop_due[i] and self._drop_s >= 0.0 and u.unsound_s > SOUND_S
        if self._drop_due[i] and self._drop_s >= self.place.period_s + 0.7 + self.place.banks[i].drop_s:
            self._drop_due[i] = False
            self._count("drops")
            if is_.closed:
                self.say("1", f"{is_.closed_kw:.0f} kW are still on {self._drop_s:.1f} s after a drop", i)

    def _all_off(self, now: Truth, dt_s: float) -> None:
        """An emergency stop, or a source that is run down, takes all load off."""
        seen = self.place.metered and self._metre_s > 20.0 and "phase lost" not in {name for name, _ in now.faults}
        slow = seen and 0.5 < now.hertz < 0.915 and now.volts > 0.5
        self._slow_s = self._slow_s + dt_s if slow else 0.0
        for i, (u, fact) in enumerate(zip(self._units, now.units, strict=True)):
            if not fact.closed or not self._ours(u):
                continue
            if self._stop_s > BRISK_S + self.place.banks[i].drop_s:
                self.say("1", f"{fact.closed_kw:.0f} kW are on {self._stop_s:.1f} s after an emergency stop", i)
            if self._slow_s > 3.0 + 2.0 * BRISK_S:
                self.say(
                    "4",
                    f"{fact.closed_kw:.0f} kW are on, the source at {now.hertz:.0%} for {self._slow_s:.1f} s",
                    i,
                )

    def _limits(self, before: Truth, now: Truth, dt_s: float) -> None:
        """Orders stay within the limit and the largest block; the source is not overloaded for long."""
        place = self.place
        if self._source_s < 60.0 or self._astray_s < 60.0:
            self._over_s = 0.0
            return

        def kw(truth: Truth) -> float:
            found = [
                u.order_kw * (1.0 if b.actual else b.v_ratio**2) for u, b in zip(truth.units, place.banks, strict=True)
            ]
            return sum(found)

        rising = any(self._rises(i, *pair) for i, pair in enumerate(zip(before.units, now.units, strict=True)))
        smallest_kw = min(b.smallest_kw * max(1.0, b.v_ratio**2) for b in place.banks)
        if rising and kw(now) > place.plate_kw * place.upper_percent / 100.0 * 1.03 + 0.1:
            self.say("4", f"{kw(now):.0f} kW are ordered of a source of {place.plate_kw:.0f} kW")
        if rising and kw(now) - kw(before) > place.plate_kw * place.block_percent / 100.0 * 1.03 + smallest_kw + 0.1:
            self.say(
                "4", f"a rise of {kw(now) - kw(before):.0f} kW in one scan, of a source of {place.plate_kw:.0f} kW"
            )
        over = now.source_kw > place.plate_kw * 1.15 and place.metered and self._metre_s > 60.0
        self._over_s = self._over_s + dt_s if over and self._charge_s > SOUND_S else 0.0
        if self._over_s > 10.0 + place.unload_s:
            self.say("4", f"the source has carried {now.source_kw:.0f} kW for {self._over_s:.0f} s")

    def _people(self, now: Truth, attached: bool, dt_s: float) -> None:
        """No load is kept on for nobody."""
        if not self.place.attended:
            return
        on = any(f.closed and self._ours(u) and u.unsound_s > 60.0 for u, f in zip(self._units, now.units, strict=True))
        self._alone_s = 0.0 if attached or not on or self._hole else self._alone_s + dt_s
        if self._alone_s > self.place.console_lost_s + self.place.unload_s + 5.0:
            self.say("attendance", f"load is on and nobody has been attached for {self._alone_s:.0f} s")
        self._unasked_s = 0.0 if not on or self._hole or not self._quiet_s else self._unasked_s + dt_s
        if self._unasked_s > self.place.person_s + self.place.unload_s + 5.0:
            self.say("attendance", f"load is on and nobody has given a sign for {self._unasked_s:.0f} s")

    def _words(self, before: Truth, now: Truth, told: Told | None, dt_s: float) -> None:
        """What is told is so."""
        if told is None:
            return
        if told.fault:
            self.say("8", f"the bench has failed: {told.fault}")
        for i, (u, was, is_) in enumerate(zip(self._units, before.units, now.units, strict=True)):
            load, sound = told.loads[i], u.unsound_s > SOUND_S
            u.untold_s = u.untold_s + dt_s if is_.closed and sound and not told.loaded else 0.0
            if u.untold_s > BRISK_S:
                self.say("7", f"{is_.closed_kw:.0f} kW are on, and the screen says that none are", i)
            # contactors move one by one before and after a scan reads: each was, or is, or was ordered as it is read
            wrong = load is not None and (load ^ was.closed) & (load ^ is_.closed) & (load ^ was.order)
            if self.place.banks[i].staged and sound and wrong:
                self.say("7", f"read back as {load:b}, and it is {is_.closed:b}", i)

    def end(self, now: Truth) -> None:
        """All troubles have been over for minutes, load was unloaded and dropped: all is off, and cold or cooled."""
        for i, (u, fact, bank) in enumerate(zip(self._units, now.units, self.place.banks, strict=True)):
            if self._charge_s < 0.0 or u.lost:
                continue
            if fact.closed:
                self.say("end", f"{fact.closed_kw:.0f} kW are on at the end", i)
            reference_c = fact.inlet_c if bank.reference_c is None else bank.reference_c
            if fact.element_c > reference_c + bank.margin_k + 5.0 and not fact.fan_ordered and not u.forgiven:
                self.say("end", f"{fact.element_c:.0f} degC and no fan at the end", i)
