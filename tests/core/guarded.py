"""What the guard is given when it is tried by itself: a state, what is seen, a wish."""

from dataclasses import dataclass

from benchctl.core.decision import Settings, first_state
from benchctl.core.guard import guard
from benchctl.core.levels import load_kw
from benchctl.core.orders import Orders
from benchctl.core.profile import Profile, Watchdog
from benchctl.core.reading import Outcome, UnitReading
from benchctl.core.seen import Contact, Seen, SeenUnit
from benchctl.core.state import State
from tests.core.worlds import site, staged, stepped

FED = Watchdog(15.0, "register", feed_every_s=5.0)


@dataclass
class Case:
    """What the guard is given. `before` is the state as it was."""

    before: State
    state: State
    seen: Seen
    settings: Settings
    wish: list[int]
    dt_s: float = 0.5

    def orders(self) -> Orders:
        return guard(self.state, self.seen, self.settings, list(self.wish), self.dt_s)

    @property
    def profiles(self) -> list[Profile]:
        return [u.profile for u in self.settings.site.units]

    @property
    def limit_kw(self) -> float:
        """Upper limit of the nameplate, less what the site draws: as known, or the reserve where nobody tells it."""
        site_, state = self.settings.site, self.before
        known = None if self.seen.site_kw is None else state.site_known_kw
        taken_kw = site_.site_load_reserve_kw if known is None else known
        return max(0.0, site_.nameplate.power_kw * site_.limits.upper_percent / 100.0 - taken_kw)

    def left(self, i: int) -> int:
        """What may be closed in a unit once the openings of this scan are acknowledged."""
        before, new = self.before.units[i], self.state.units[i].wanted
        if self.profiles[i].setpoint:
            return max(new, before.possible) if before.possible > before.wanted else new
        return new | before.possible & ~before.wanted


def seen_of(state: State, settings_: Settings, units: list[SeenUnit], site_kw: float | None) -> Seen:
    """The bench as perceive sums it up: all that may be closed, at the volts present."""
    for u, s, unit in zip(state.units, units, settings_.site.units, strict=True):
        s.possible_kw = load_kw(unit.profile, u.possible, s.ratio)
    return Seen(
        units,
        site_kw=site_kw,
        possible_kw=sum(s.possible_kw for s in units),
        loaded=any(u.possible for u in state.units),
    )


def fine(load: int = 0, power_kw: float = 1000.0) -> Case:
    """Two units that may have all that they have; source and room are ample unless told otherwise."""
    place = site(staged(20.0, 40.0, 40.0, watchdog=FED), stepped(100.0, 20.0, watchdog=FED), nameplate_kw=power_kw)
    settings_ = Settings.of(place)
    state = first_state(settings_)
    state.charge, state.room_kw = "operator", 1000.0
    units = []
    for u, unit in zip(state.units, place.units, strict=True):
        on = min(load, unit.profile.full_load)
        u.heard = u.joined = u.emptied = u.fan = u.proven = u.seen_still = True
        u.identified, u.wanted, u.possible, u.age_s = True, on, on, 0.0
        reading = UnitReading(Outcome.OK, load=on, remote=True, airflow=True, fan_on=True)
        units.append(SeenUnit(Contact.FRESH, 0.0, reading, on, 400.0, 1.0, None, told=True))
    return Case(state.copy(), state, seen_of(state, settings_, units, None), settings_, [7, 5])
