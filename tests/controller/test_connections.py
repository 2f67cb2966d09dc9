"""What is wrong with a connection, told in words: when it begins, when the words change, and ever more seldom."""

from types import SimpleNamespace
from typing import Any

from benchctl.controller.connections import QUIET_S, Connections
from benchctl.core.decision import Event
from tests.controller.bench import PLACE

TAKEN, REFUSED = "the device closed the connection", "the device refuses it"
FIRST, SECOND = (unit.name for unit in PLACE.units)


class Wire:
    """Connections that are counted by the test."""

    def __init__(self, *names: tuple[str, ...]) -> None:
        self.troubles = dict.fromkeys(names or ((FIRST,), (SECOND,)), (0, ""))
        self.events: list[Event] = []
        self.at_s = 0.0
        self._listener = Connections(PLACE, lambda: self.troubles, self.events.append)

    def scan(self, words: str = "", more: int = 0, names: tuple[str, ...] = (FIRST,), after_s: float = 0.5) -> None:
        """A scan, before which this has happened so many times."""
        if more:
            self.troubles[names] = (self.troubles[names][0] + more, words)
        self.at_s += after_s
        frame: Any = SimpleNamespace(inputs=SimpleNamespace(now_s=self.at_s))
        self._listener.listen(frame)

    @property
    def told(self) -> list[str]:
        return [event.text for event in self.events]


def test_nothing_is_told_while_nothing_is_wrong():
    wire = Wire()
    for _ in range(5):
        wire.scan()
    assert wire.told == []


def test_a_trouble_is_told_once_with_its_unit():
    wire = Wire()
    wire.scan(TAKEN, 1, (SECOND,))
    wire.scan()
    assert wire.told == [f"{SECOND}: {TAKEN}"]
    assert (wire.events[0].kind, wire.events[0].unit) == ("connection", 1)


def test_a_fight_is_told_each_time_it_has_become_twice_as_long():
    wire = Wire()
    for _ in range(20):
        wire.scan(TAKEN, 1)
    assert wire.told == [f"{FIRST}: {TAKEN}", *(f"{FIRST}: {TAKEN} ({n} times)" for n in (2, 4, 8, 16))]


def test_several_between_two_scans_are_told_at_once():
    wire = Wire()
    wire.scan(TAKEN, 5)
    wire.scan(TAKEN, 4)
    wire.scan(TAKEN, 1)
    assert wire.told == [f"{FIRST}: {TAKEN} (5 times)", f"{FIRST}: {TAKEN} (10 times)"]


def test_other_words_are_another_trouble():
    wire = Wire()
    wire.scan(TAKEN, 3)
    wire.scan(REFUSED, 1)
    wire.scan(TAKEN, 1)
    assert wire.told == [f"{FIRST}: {TAKEN} (3 times)", f"{FIRST}: {REFUSED}", f"{FIRST}: {TAKEN}"]


def test_after_a_quiet_time_the_same_is_a_new_trouble():
    wire = Wire()
    wire.scan(TAKEN, 3)
    wire.scan(TAKEN, 1, after_s=QUIET_S)
    assert wire.told == [f"{FIRST}: {TAKEN} (3 times)", f"{FIRST}: {TAKEN}"]


def test_devices_behind_one_connection_are_named_together():
    wire = Wire((FIRST, SECOND))
    wire.scan(TAKEN, 1, (FIRST, SECOND))
    assert wire.told == [f"{FIRST}, {SECOND}: {TAKEN}"]
    assert wire.events[0].unit == -1
