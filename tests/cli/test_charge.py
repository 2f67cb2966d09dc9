"""Who has charge, as terminals tell it: in the status, beside each order, and to whoever has lost it."""

from typing import Any

import pytest

from benchctl.cli.charge import charge_words, watches, way
from benchctl.cli.status import status_lines
from tests.cli.desk import at, shown
from tests.door.rooms import until

KIM: dict[str, Any] = {"charge": "Kim", "charge_console": "console 2"}
OVER = "Kim at console 2 has taken over from Robin at console 1: shift change"
FROM_US: dict[str, str] = {
    "from_who": "Robin", "from_console": "console 1", "console": "console 2", "why": "shift change"}  # fmt: skip


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"charge": "", "charge_console": ""}, "nobody is in charge"),
        ({"charge": "", "charge_console": "", "consoles": ("console 1",)}, "nobody is in charge; 1 console watches"),
        ({"charge": "Kim", "charge_console": ""}, "Kim is in charge"),
        ({**KIM, "consoles": ("console 2",)}, "Kim is in charge at console 2"),
        ({**KIM, "consoles": ("console 1", "console 2")}, "Kim is in charge at console 2; 1 console watches"),
        (
            {**KIM, "consoles": ("console 1", "console 3")},
            "Kim is in charge at console 2, not attached; 2 consoles watch",
        ),
    ],
)
def test_the_status_says_who_is_in_charge_where_and_how_many_watch(given, words):
    assert charge_words(shown(**given)) == words
    assert status_lines("northquay", shown(held="", **given))[0] == f"northquay: running; {words}"


def test_who_watches_is_told_the_way_to_order():
    now = shown(**KIM, consoles=("console 1", "console 2"))
    assert watches(now, "console 1", "Robin")
    assert not watches(now, "console 2", "Robin")
    assert way(now) == "Kim at console 2 has charge: take over, with a reason, to order"
    gone = shown(**KIM, consoles=("console 1",))
    assert watches(gone, "console 1", "Robin")
    assert not watches(gone, "console 1", "Kim")
    assert way(gone) == "Kim at console 2 has charge and is not attached: take charge to order"


async def test_whoever_loses_charge_is_told_by_whom_why_and_that_he_watches_and_the_terminal_rings(monkeypatch):
    rung: list[bool] = []
    monkeypatch.setattr("benchctl.cli.follow.ring", lambda: rung.append(True))
    async with at() as desk:
        desk.client.tell("taken over", OVER, who="Kim", data=FROM_US)
        await until(lambda: desk.voice.said)
        assert desk.voice.said[0].endswith(f"{OVER} - YOU WATCH from now on; type over and why to take over again")
        assert rung


async def test_others_are_told_of_a_take_over_without_that():
    async with at() as desk:
        desk.client.tell("taken over", OVER, who="Kim", data=FROM_US | {"from_console": "console 7"})
        await until(lambda: desk.voice.said)
        assert desk.voice.said[0].endswith(OVER)


async def test_an_order_is_told_with_who_gave_it_and_the_console_where_it_is_not_ours():
    async with at() as desk:
        for console in ("console 1", "console 2", ""):
            desk.client.tell("command", "pause", who="Kim", data={"console": console} if console else {})
        await until(lambda: len(desk.voice.said) == 3)
        assert [line.partition("pause ")[2] for line in desk.voice.said] == ["(Kim)", "(Kim at console 2)", "(Kim)"]


async def test_a_refused_order_of_who_watches_says_what_to_type():
    why = "Kim at console 2 has charge: take over, with a reason, to order"
    async with at() as desk:
        for console in ("console 1", "console 2"):
            desk.client.tell("refused", f"pause: {why}", who="Robin", data={"why": why, "console": console})
        await until(lambda: len(desk.voice.said) == 2)
        assert desk.voice.said[0].endswith(f"{why} (Robin) - type over and why to take over")
        assert desk.voice.said[1].endswith("(Robin at console 2)")
