"""`probe` where a run host owns the chain: as whole an answer as from the wire, and no request on the wire for it."""

import json
import os
import signal
from typing import Any

import pytest

from tests.system.site import site_on_free_ports
from tests.system.small import Place, place, until

pytestmark = pytest.mark.slow

# What does not change from one look to the next; the wire's own answer is what the run host's is compared with.
SAME = (
    "name", "reached", "outcome", "serial", "model", "firmware", "identity_ok", "says_rated_kw", "says_rated_v",
    "watchdog_s", "load_on", "faults", "suspect", "absent", "warnings", "position", "rated_kw", "available_kw", "place",
)  # fmt: skip


def probed(here: Place, *words: str) -> tuple[int, list[dict[str, Any]]]:
    """Exit code and rows."""
    done = here.verb("probe", "--site", str(here.site), "--json", *words)
    return done.returncode, [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture
def here(tmp_path):
    with place(tmp_path) as made:
        made.site = site_on_free_ports(tmp_path)
        try:
            yield made
        finally:
            pid = made.host_pid(f"{made.site.stem}.log")
            if pid is not None:
                os.kill(pid, signal.SIGKILL)


def same(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What either way must tell alike."""
    return [{key: row.get(key) for key in SAME} for row in rows]


def test_a_run_host_answers_as_wholly_as_the_wire(here):
    here.simulator()
    code, wire = probed(here)
    assert code == 0
    assert here.verb("control", "--site", str(here.site)).returncode == 0
    held = wire

    def known() -> bool:
        """It has just begun: what it has not read yet it cannot tell."""
        nonlocal held
        code, held = probed(here)
        return code == 0 and same(held) == same(wire) and all(row["latency_s"] is not None for row in held[:-1])

    until(known, 30.0)
    assert {row.get("told_by") for row in held[:-1]} == {"run host"}
    assert all(row["age_s"] < 3.0 for row in held[:-1])
    text = here.verb("probe", "--site", str(here.site), "--unit", "bank 3")
    assert "is held by `benchctl control`" in text.stderr
    assert text.stdout.startswith("1. bank 3: answers in ")
    assert "120 kW at 400 V delta" in text.stdout
    here.started[0].kill()
    code, gone = until(lambda: (found := probed(here)) and not any(r["reached"] for r in found[1][:4]) and found, 30.0)
    assert code == 4
    assert [row["serial"] for row in gone[:4]] == [row["serial"] for row in wire[:4]]
    assert all(row["warnings"] for row in gone[:-1])


def test_what_a_run_host_has_never_heard_is_not_known(here):
    assert here.verb("control", "--site", str(here.site)).returncode == 0
    done = here.verb("probe", "--site", str(here.site))
    assert done.returncode == 4
    assert "1. bank 1: down, never heard, 150 kW at 400 V" in done.stdout
    assert "serial not known" in done.stdout
    assert "! no connection: the device refuses it (is the port right?)" in done.stdout
    other = here.site.with_name("other.yaml")
    other.write_text(here.site.read_text().replace("unit_id: 4", "unit_id: 5"))
    done = here.verb("probe", "--site", str(other))
    assert "4. bank 4: not known to the run host" in done.stdout
