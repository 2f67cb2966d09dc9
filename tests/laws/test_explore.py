"""Small worlds enumerated to the last state: no scan that can be reached breaks a law."""

from dataclasses import replace
from typing import Any

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.orders import Write
from tests.laws.explore import Found, explore, small

SIXTY = Command(Verb.SET_LOAD, value=60.0)
BURSTS = ((), (Command(Verb.TAKE_CHARGE),), (SIXTY,), (Command(Verb.DROP),), (Command(Verb.RESET), SIXTY))
CLOSE, OPEN, POINT = (
    Command(Verb.SWITCH, unit=0, text="1", value=1.0),
    Command(Verb.SWITCH, unit=0, text="1", value=0.0),
    Command(Verb.SWITCH, unit=1, value=40.0),
)
BY_HAND = ((), (Command(Verb.TAKE_CHARGE),), (Command(Verb.SWITCH),), (CLOSE,), (OPEN, POINT))
WORLDS = {
    "no air": (("well", "no air"), BURSTS, (Write.DONE,)),
    "stop": (("well", "stop"), (*BURSTS[:4], (Command(Verb.RESET), Command(Verb.CONFIRM_FANS, unit=0))), (Write.DONE,)),
    "refused": (("well",), BURSTS[:4], (Write.DONE, Write.REFUSED)),
    "by hand": (("well",), (*BY_HAND, (Command(Verb.RESUME),)), (Write.DONE, Write.REFUSED)),
    "by hand, dropped": (
        ("well",),
        (*BY_HAND, (Command(Verb.DROP),), (Command(Verb.RESET),)),
        (Write.DONE, Write.NOT_SENT),
    ),
}
CHARGE, ADOPT, UNLOAD, DROP, HERE = (
    Command(v) for v in (Verb.TAKE_CHARGE, Verb.ADOPT, Verb.UNLOAD, Verb.DROP, Verb.CHECK_IN)
)  # fmt: skip
DECIDING = ((), (CHARGE,), (ADOPT,), (UNLOAD,), (DROP,))
PEOPLE: dict[str, dict[str, Any]] = {
    "load found on": {"loads": (3, 0), "bursts": DECIDING},
    "load found without air": {"loads": (1, 2), "bursts": DECIDING[:3], "doings": (("well", "no air"), ("well",))},
    "nobody there": {"attached": (True, False), "bursts": ((), (CHARGE,), (SIXTY,), (HERE,))},
}


def explored(name: str, seconds: float = 100.0) -> Found:
    if name in PEOPLE:
        return explore(replace(small(doings=("well",)), **PEOPLE[name]), seconds=seconds)
    doings, bursts, endings = WORLDS[name]
    return explore(replace(small(doings=doings, endings=endings), bursts=bursts), seconds=seconds)


@pytest.mark.parametrize("name", [*WORLDS, *PEOPLE])
def test_no_scan_of_the_small_world_breaks_a_law_and_nothing_is_left_out(name, record_property):
    found = explored(name)
    record_property("states", found.states)
    record_property("transitions", found.transitions)
    assert found.closed
    assert found.states > 50
    assert found.broken == {}
    print(f"{name}: {found.states} states, {found.transitions} transitions, {found.seconds:.1f} s")
