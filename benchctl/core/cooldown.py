"""Sixth rung: cool-down is a debt of each unit, and fans are what pays it.

Theory. A unit that may have load, or whose past is not known, owes the whole debt: a minimum time with proven air,
and then the exhaust near its reference without a break. Time counts only with the fan ordered on, air proven and
the unit heard in this scan; nothing else, no command but a recorded override, no restart and no trip, makes the
debt smaller. A debt that does not go away becomes an alarm and a decision, never an automatic end.

Fans: on while a unit owes or will be loaded, started one after the other over the chain; hot units first.
"""

from benchctl.core.decision import Settings
from benchctl.core.seen import Contact, Seen
from benchctl.core.state import Mode, State, UnitState, undecided
from benchctl.core.thermal import near, reads_cool


def cooldown(state: State, seen: Seen, settings: Settings, dt_s: float) -> None:
    """Count the debts and order the fans. Works on `state.units`."""
    site = settings.site
    state.fan_gap_s = max(0.0, state.fan_gap_s - dt_s)
    credit_s = 0.0 if seen.gap_s else dt_s
    for u, s, unit in zip(state.units, seen.units, site.units, strict=True):
        terms = unit.profile.cooldown
        unloaded_s = u.cooling_s  # before this scan: the scan in which load goes earns nothing
        unknown = s.contact in (Contact.STALE, Contact.LOST)
        if u.possible or unknown:
            u.hot, u.owed_s, u.near_s = True, terms.minimum_s, terms.near_s
        if u.possible:
            u.cooling_s = 0.0
            continue
        if u.hot and u.heard and (u.fan or not reads_cool(terms, s.reading, site.ambient_c)):
            u.cooling_s = min(u.cooling_s + dt_s, 1e6)
        paying = u.hot and u.fan and s.contact is Contact.FRESH and s.reading.airflow is True
        if paying and s.load == 0 and unloaded_s > 0.0:
            u.owed_s = max(0.0, u.owed_s - credit_s)
            cool = near(terms, s.reading, site.ambient_c)
            if cool:
                u.near_s = max(0.0, u.near_s - credit_s)
            elif cool is False:  # a sample that is missing earns nothing, and takes nothing away
                u.near_s = terms.near_s
            if u.owed_s == 0.0 and u.near_s == 0.0:
                u.hot, u.cooling_s = False, 0.0
    _fans(state, settings, dt_s)


def _fans(state: State, settings: Settings, dt_s: float) -> None:
    """Order fans on where they are needed, a gap apart; off only where nothing is owed."""
    preparing = state.mode in (Mode.CHECK, Mode.RUN, Mode.UNLOAD) or (
        state.mode is Mode.IDLE and (state.by_hand or state.target_kw > 0.0)
    )
    waiting: list[UnitState] = []
    for u in state.units:
        needed = (
            bool(state.charge)
            and not u.fan_withdrawn
            and not undecided(state, u)
            and (u.hot or bool(u.possible | u.wanted) or (preparing and u.joined))
        )
        # air must be seen off before it can be proven on: a fan found running rests until its unit has been seen still
        needed = needed and u.heard
        if not needed:
            u.fan, u.fan_on_s = False, 0.0
        elif u.fan:
            u.fan_on_s = min(u.fan_on_s + dt_s, 1e6)
        else:
            waiting.append(u)
    waiting.sort(key=lambda u: (not u.possible, not u.hot))
    for u in waiting:
        if state.fan_gap_s > 0.0 and not u.possible:
            continue
        u.fan, u.fan_on_s = True, 0.0
        state.fan_gap_s = settings.site.limits.fan_start_gap_s
