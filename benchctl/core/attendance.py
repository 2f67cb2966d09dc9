"""Fourth rung: attendance: whether a client is attached, whether a living person is there, and load found on.

Attached means that the loop of a client answers. A person has been there when somebody with a name commanded, answered,
acknowledged, remarked or checked in: a screen that is attached is no person. Both are asked only while charge is taken
and load may be on or a test runs, and not in a session that was declared unattended, as the site file must allow.

Load found on is load that this session did not start. From the scan in which it is seen somebody is asked, charge or no
charge, and nothing is written to its unit until a person or an interlock has decided. When nobody has in the site's
time, it comes off in steps, even where nobody has taken charge.

The alarms are rows of `core/causes.py`; here the clocks run, and load is taken off when nobody comes.
"""

from dataclasses import replace

from benchctl.core.charge import NOBODY
from benchctl.core.course import unload
from benchctl.core.decision import Event, Settings
from benchctl.core.inputs import Inputs
from benchctl.core.interlocks import hold
from benchctl.core.obey import OLDEST_S
from benchctl.core.program import Silence
from benchctl.core.prompts import BY_KIND, ask
from benchctl.core.seen import Seen
from benchctl.core.state import Mode, State

ALONE = "nobody is attached"
FIRST_S = 1e-9  # nobody has been attached for no time yet when it is first seen


def attendance(state: State, seen: Seen, inputs: Inputs, settings: Settings, events: list[Event]) -> None:
    """Run the clocks and act when they are over; a hole in time counts for none of them. Works on `state`."""
    dt_s = 0.0 if seen.gap_s else inputs.dt_s
    if state.found_s is not None or any(u.found for u in state.units):
        _found(state, seen, settings, dt_s, events)
    if inputs.attached is None:
        state.alone_s = state.person_s = 0.0
    else:
        _attended(state, seen, inputs, settings, dt_s, events)


def _found(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    """Ask about load found on as long as it is there and undecided, and take it off when nobody answers in time."""
    asked = state.prompt if state.prompt is not None and state.prompt.kind == "found" else None
    if state.dropped or not any(u.found for u in state.units):
        state.found_s = None
        state.prompt = None if asked else state.prompt
        return
    limit_s = settings.site.attendance.console_lost_s
    state.found_s = 0.0 if state.found_s is None else min(state.found_s + dt_s, limit_s)
    if state.found_s >= limit_s:
        events.append(Event("unanswered", f"nobody answered: {Silence.UNLOAD.value}", data=(("prompt", "found"),)))
        if not state.charge:
            state.charge, state.console = NOBODY, ""
            events.append(Event("charge", "nobody has taken charge: it is taken to unload load found on", who=NOBODY))
        unload(state, seen, settings, "interrupted")
    elif asked:
        state.prompt = replace(asked, remaining_s=limit_s - state.found_s)
    elif state.trip is None:  # after a trip nothing can be adopted: what is left is to unload or drop
        found_kw = sum(s.possible_kw for u, s in zip(state.units, seen.units, strict=True) if u.found)
        text = f"{found_kw:.0f} kW are on that this session did not start. Adopt them?"
        ask(state, settings, "found", text, events, open_s=limit_s - state.found_s, if_silent=Silence.UNLOAD)


def _attended(state: State, seen: Seen, inputs: Inputs, settings: Settings, dt_s: float, events: list[Event]) -> None:
    """Whether somebody is attached and somebody is there, as long as somebody has to be."""
    at_work = seen.loaded or state.target_kw > 0.0 or state.mode in (Mode.CHECK, Mode.RUN, Mode.UNLOAD)
    if not state.charge or state.unattended or not at_work:
        state.alone_s = state.person_s = 0.0
        return
    terms = settings.site.attendance
    before_s, longest_s = state.person_s, terms.check_in_s + terms.unload_after_s
    sign = any(c.who and c.age_s <= OLDEST_S for c in inputs.commands)
    state.person_s = 0.0 if sign else min(state.person_s + dt_s, longest_s)
    state.alone_s = 0.0 if inputs.attached else min(max(state.alone_s + dt_s, FIRST_S), terms.console_lost_s)
    if before_s < terms.check_in_s <= state.person_s:
        events.append(Event("check-in", f"is somebody there? Check in within {_long(terms.alarm_after_s)}"))
    if state.mode in (Mode.UNLOAD, Mode.COOL, Mode.DONE) or state.trip is not None:
        return  # load is going already
    if state.alone_s >= terms.console_lost_s:
        _give_up(state, seen, settings, f"nobody has been attached for {_long(state.alone_s)}", events)
    elif state.person_s >= longest_s:
        _give_up(state, seen, settings, f"no sign of a person for {_long(state.person_s)}", events)
    elif state.alone_s > 0.0 and terms.hold_meanwhile:
        _hold(state, settings, events)


def _long(time_s: float) -> str:
    return f"{time_s / 60.0:.0f} min" if time_s >= 120.0 else f"{time_s:.0f} s"


def _hold(state: State, settings: Settings, events: list[Event]) -> None:
    """Hold the load where it is; the question stays open for longer than anybody is waited for."""
    hold(state, ALONE, events)
    if state.held == ALONE:
        open_s = settings.site.attendance.console_lost_s + BY_KIND["held"].open_s
        ask(state, settings, "held", f"{ALONE}. Go on?", events, open_s=open_s)


def _give_up(state: State, seen: Seen, settings: Settings, why: str, events: list[Event]) -> None:
    events.append(Event("unattended", f"{why}: unloading"))
    unload(state, seen, settings, "interrupted")
