"""Orders that are acknowledged or refused and not in force.

Case A7: what is commanded and what is read back are two figures; the program is held, and what never came on is not
called on. Between the run host and the unit somebody answers instead of the unit: the write never arrives.
"""

import json
from typing import Any

import pytest

from tests.system.live import ON_S, closed, console, log, quiet, truth
from tests.system.small import place, short_program, until
from tests.system.tap import Tap, closes_stages, tapped

pytestmark = pytest.mark.slow

# A reply that repeats function, address and quantity acknowledges; exception 4 is "server device failure": Modbus
# application protocol 1.1b3, 6.11 and 7.
ECHO, FAILURE = (lambda pdu: pdu[:5]), (lambda pdu: bytes((pdu[0] | 0x80, 4)))
NOTICED_S = 10.0  # three scans of half a second after the unit's own time to follow, on a slow machine


def status(here) -> dict[str, Any]:
    """The newest scan, as `status` tells it to machines."""
    found: dict[str, Any] = json.loads(here.verb("status", "--json").stdout.splitlines()[-1])
    return found


def closings(tap: Tap) -> int:
    """How often closings were ordered."""
    return sum(1 for pdu in tap.writes if closes_stages(pdu))


@pytest.mark.parametrize(
    ("reply", "told"),
    [(ECHO, "bank 1 did not follow: wanted"), (FAILURE, "bank 1 refused a closing")],
    ids=["acknowledged and ignored", "refused"],
)
def test_A7_an_order_that_is_not_in_force_holds_the_program_and_is_never_shown_as_load(tmp_path, reply, told):
    with place(tmp_path) as here:
        here.simulator()
        with tapped(here) as tap:
            tap.answer = lambda pdu: reply(pdu) if closes_stages(pdu) else None
            program = str(short_program(here.folder, "10 min"))
            run = console(here, "run", program, "--site", str(here.site), "--confirmed", "--operator", "tester")
            until(lambda: closings(tap), ON_S)
            until(lambda: told in log(here), NOTICED_S)
            now = status(here)
            assert now["held"] == "bank 1: an order is not in force"
            assert now["prompt"]["text"].endswith("Go on?")
            bank_1 = now["units"][0]
            assert (bank_1["commanded_kw"], bank_1["read_back_kw"], bank_1["closed"]) == (0.0, 0.0, [])
            sent, since_s = closings(tap), truth(here)["t"]
            until(lambda: truth(here)["t"] > since_s + 5.0)
            assert closings(tap) == sent
            assert closed(here)[0] == 0
            assert run.process.poll() is None
            assert here.verb("unload").returncode == 0
            until(lambda: quiet(here), 5.0)
