"""What a run host tells of the devices it owns, against what first contact finds on the wire; in virtual time."""

from typing import Any

import pytest

from benchctl.controller.look import Beside, look_rows
from benchctl.core.decision import Settings
from benchctl.core.scenario import Fault, Scenario
from benchctl.core.site import Site
from benchctl.engine import Engine
from benchctl.field.chain import Chain
from benchctl.field.contact import meet, plain
from benchctl.files import read_site
from simulator.bench import Bench
from simulator.cable import Memory
from simulator.warp import WarpLoop, run

CHANGES = ("latency_s", "age_s", "fresh")  # from one look to the next
MUTE_S = 20.0


def met(place: Site) -> list[dict[str, Any]]:
    """Rows of first contact."""
    loop = WarpLoop()
    return [plain(m) for m in run(meet(place, connect=Memory(Bench(place), loop).connect), loop)]


def looked(place: Site, until_s: float, *faults: Fault) -> list[dict[str, Any]]:
    """Rows of a run host after that time."""
    loop = WarpLoop()

    async def scene() -> list[dict[str, Any]]:
        chain = Chain(place, connect=Memory(Bench(place, Scenario(faults=faults)), loop).connect)
        frame = await Engine(Settings.of(place), chain, loop.time).run(lambda frame: frame.inputs.now_s >= until_s)
        rows = look_rows(place, frame, Beside(chain.said, chain.absent, chain.faults))
        await chain.close()
        return rows

    return run(scene(), loop)


def unchanging(rows: list[dict[str, Any]], keys: set[str]) -> list[dict[str, Any]]:
    return [{key: row[key] for key in sorted(keys - set(CHANGES))} for row in rows]


@pytest.mark.parametrize("name", ["northquay", "alder-ridge", "millrace"])
def test_a_run_host_tells_what_first_contact_finds(name):
    place, _ = read_site(name)
    wire, host = met(place), looked(place, 5.0)
    assert unchanging(host, set(wire[0])) == unchanging(wire, set(wire[0]))
    assert all(row["age_s"] <= 3.0 for row in host)
    assert all(0.0 < row["latency_s"] < 0.2 for row in host)
    places = [d.endpoint for d in place.units] + [d.endpoint for d in place.instruments]
    assert [row["at"] for row in host] == [f"{e.host}:{e.port}" for e in places]


def test_a_device_that_is_silent_keeps_what_it_has_said_and_its_age():
    place, _ = read_site("northquay")
    before = looked(place, 5.0)
    after = looked(
        place, 5.0 + MUTE_S, Fault(5.0, "mute", "bank 1"), Fault(5.0, "meter lost", "source meter"),
    )  # fmt: skip
    for at in (0, 4):
        assert (after[at]["reached"], before[at]["reached"]) == (False, True)
        assert after[at]["age_s"] == pytest.approx(MUTE_S, abs=1.0)
        for key in ("serial", "model", "firmware", "identity_ok", "watchdog_s"):
            assert after[at][key] == before[at][key]
        assert after[at]["warnings"]
    assert after[1]["reached"]


def test_a_meter_that_stands_still_is_told_as_such():
    place, _ = read_site("northquay")
    rows = looked(place, 20.0, Fault(5.0, "meter frozen", "source meter"))
    assert rows[4]["fresh"] is False
    assert any("may be frozen" in warning for warning in rows[4]["warnings"])


def test_what_was_never_heard_is_not_known():
    place, _ = read_site("northquay")
    row = looked(place, 5.0, Fault(0.0, "mute", "bank 1"))[0]
    assert (row["reached"], row["age_s"], row["serial"], row["load_on"], row["latency_s"]) == (
        False, None, None, None, None)  # fmt: skip
