"""A run host of a rehearsal: the same verbs, the same end, as fast as it goes or at a person's pace."""

import json

import pytest

from benchctl.record.reader import Reader
from benchctl.record.replay import replay
from tests.system.live import console, records
from tests.system.small import place, short_program, until

pytestmark = pytest.mark.slow


def test_a_rehearsal_as_fast_as_it_goes_ends_like_a_run_and_its_record_replays(tmp_path):
    with place(tmp_path) as here:
        words = (
            "run",
            str(short_program(tmp_path, "20 min")),
            "--site",
            str(here.site),
            "--rehearse",
            "--speed",
            "max",
        )
        ran = here.verb(*words, "--confirmed", "--operator", "tester", "--json", timeout_s=100.0)
        assert ran.returncode == 0, ran.stderr
        told = json.loads(ran.stdout.splitlines()[-1])
        assert told["outcome"] == "completed"
        assert told["virtual_s"] > 1200.0
        assert told["wall_s"] < 100.0
        with Reader(records(here)[0]) as reader:
            assert replay(reader).equal


def test_a_second_run_of_the_program_in_hand_follows_it_and_status_tells_of_it(tmp_path):
    with place(tmp_path) as here:
        program = short_program(tmp_path, "10 min")
        words = ("run", str(program), "--site", str(here.site), "--rehearse", "--speed", "10")
        first = console(here, *words, "--confirmed", "--operator", "tester")
        first.until("segment 2: hold")
        second = console(here, *words, "--operator", "Robin")
        second.until("this program runs already: following it")
        status = here.verb("status", "--rehearse")
        assert status.returncode == 0, status.stderr
        assert status.stdout.startswith("small (rehearsal): running; tester is in charge")
        assert "target 40.0 kW" in status.stdout
        assert here.verb("status", "--site", str(here.site)).returncode == 4  # of the real chain nobody is the owner
        second.type("unload")
        assert {first.end(60.0), second.end(60.0)} == {1}
        assert "unload (Robin at console 2)" in first.said
        until(lambda: len(records(here)) == 1)
