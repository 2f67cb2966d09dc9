"""One scan: the rungs in order. The order is the design: whatever makes safer comes later, and the guard is last.

`decide` is pure: same state, inputs and settings, same decision. It never changes the state that it is given.
"""

from benchctl.core.advance import advance
from benchctl.core.alarms import alarms
from benchctl.core.attendance import attendance
from benchctl.core.cooldown import cooldown
from benchctl.core.decision import Decision, Event, Settings
from benchctl.core.dispatch import dispatch
from benchctl.core.elements import elements
from benchctl.core.guard import guard
from benchctl.core.inputs import Inputs
from benchctl.core.interlocks import interlocks
from benchctl.core.obey import obey
from benchctl.core.orders import Orders, UnitOrders
from benchctl.core.perceive import perceive
from benchctl.core.permissives import permissives
from benchctl.core.state import Mode, State
from benchctl.core.trim import trim


def decide(state: State, inputs: Inputs, settings: Settings) -> Decision:
    """Decide one scan.

    inputs.units and inputs.instruments are in the order of the site's. Any combination of missing values gives a
    decision; nothing is raised for anything that the wire or a person can bring.
    """
    now = state.copy()
    events: list[Event] = []
    target_before_kw = state.target_kw
    seen = perceive(now, inputs, settings, events)
    elements(now, seen, settings, inputs.dt_s, events)
    obey(now, inputs.commands, seen, settings, events, inputs.consoles)
    advance(now, seen, settings, inputs.dt_s, events)
    attendance(now, seen, inputs, settings, events)
    alarms(now, seen, settings, inputs.dt_s, events)
    interlocks(now, seen, settings, events)
    cooldown(now, seen, settings, inputs.dt_s)
    trim(now, seen, settings, inputs.dt_s)
    wish = dispatch(now, seen, settings, inputs.dt_s, target_before_kw)
    orders = guard(now, seen, settings, wish, inputs.dt_s)
    rows = permissives(now, seen, settings) if now.mode in (Mode.IDLE, Mode.CHECK) else ()
    return Decision(now, orders, tuple(events), seen, rows)


def last_resort(settings: Settings) -> Orders:
    """The orders of a scan whose decide has failed: everything open, fans on, no watchdog fed."""
    return Orders(tuple(UnitOrders(fan=True, lower=True) for _ in settings.site.units), urgent=True)


def all_open(settings: Settings) -> Orders:
    """What a drop orders of every unit, whatever is known of it: nothing has to be decided for that."""
    return Orders((UnitOrders(lower=True),) * len(settings.site.units), urgent=True)
