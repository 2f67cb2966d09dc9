"""The bell rings once for each thing that needs a person, and never for what only tells."""

import pytest

from benchctl.core.shown import TripShown
from benchctl.tui.view.loud import rings
from tests.tui.pictures import alarm, made, prompt, scan

CALM = scan()


@pytest.mark.parametrize(
    "given",
    [
        {"trip": made(TripShown, row="drop", text="dropped")},
        {"prompt": prompt()},
        {"held": "time gap"},
        {"charge": "Robin", "charge_console": "console 1", "consoles": ("console 2",)},
        {"alarms": (alarm("airflow lost", reaction="unit_off"),)},
        {"alarms": (alarm("no sign of a person", ""),)},
        {"reading_due_s": -0.5, "reading_number": 3},
    ],
    ids=lambda g: next(iter(g)),
)
def test_it_rings_once_for_what_needs_a_person(given):
    assert rings(CALM, scan(**given))
    assert not rings(scan(**given), scan(**given))
    assert rings(None, scan(**given))
    assert not rings(scan(**given), CALM)


def test_the_next_reading_and_a_chattering_interlock_ring_again():
    assert rings(scan(reading_due_s=-9.0, reading_number=3), scan(reading_due_s=-0.1, reading_number=4))
    first, again = (alarm("airflow lost", reaction="unit_off", count=n) for n in (1, 2))
    assert rings(scan(alarms=(first,)), scan(alarms=(again,)))


def test_what_only_tells_does_not_ring():
    assert not rings(CALM, scan(alarms=(alarm(),)))
    assert not rings(CALM, scan(reading_due_s=12.0))
    known = alarm("airflow lost", reaction="unit_off", acknowledged=True)
    assert not rings(CALM, scan(alarms=(known,)))
