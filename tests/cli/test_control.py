"""Starting the run host: its words, the process apart, and its log."""

import argparse
import asyncio
import math
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from benchctl.cli import main
from benchctl.cli.attach import start_apart
from benchctl.cli.control import speed
from benchctl.controller import spawn
from benchctl.controller.log import Log
from benchctl.controller.spawn import StartFault, start
from benchctl.folders import VARIABLE
from tests.cli.desk import Quiet
from tests.controller.bench import terms
from tests.door.rooms import opened


@pytest.mark.parametrize(("text", "value"), [("1", 1), ("60", 60), ("0.1", 0.1), ("1000", 1000), ("max", math.inf)])
def test_speeds(text, value):
    assert speed(text) == value


@pytest.mark.parametrize("text", ["0", "-1", "nan", "inf", "1001", "fast", ""])
def test_what_is_no_speed_is_told(text):
    with pytest.raises(argparse.ArgumentTypeError, match=r"expected 0\.1 to 1000, or max$"):
        speed(text)


@pytest.mark.parametrize("verb", [["control"], ["run", "ladder"]])
def test_real_units_have_real_time(verb, capsys):
    assert main([*verb, "--site", "northquay", "--speed", "10"]) == 2
    assert capsys.readouterr().err == "--speed is for rehearsals: real units have real time\n"


def test_confirmed_needs_a_name(capsys):
    assert main(["run", "ladder", "--site", "northquay", "--confirmed"]) == 2
    assert "--confirmed needs --operator NAME" in capsys.readouterr().err


def test_a_pace_is_a_number_or_as_fast_as_it_goes(tmp_path):
    assert terms(tmp_path, rehearsal=True, speed=10.0).pace == 10.0
    assert terms(tmp_path, rehearsal=True, speed=math.inf).pace is None


def test_somebody_must_be_there_with_real_units_and_in_a_rehearsal_that_takes_as_long(tmp_path):
    assert terms(tmp_path).needs_person
    assert terms(tmp_path, rehearsal=True).needs_person
    assert not terms(tmp_path, rehearsal=True, speed=10.0).needs_person
    assert not terms(tmp_path, rehearsal=True, speed=math.inf).needs_person


# -- the process apart


@pytest.fixture
def words(tmp_path, monkeypatch):
    """The words that the process apart is started with, and where its log goes."""
    monkeypatch.setenv(VARIABLE, str(tmp_path / "state"))
    kept: list[Any] = []

    def noting(given, log, cards, site, rehearsal):
        kept.extend((given, log, cards, site, rehearsal))
        return "card"

    monkeypatch.setattr(spawn, "start", noting)
    return kept


def namespace(folder: Path, **changes: Any) -> argparse.Namespace:
    keys = {"site": "northquay", "runs": str(folder / "runs"), "rehearse": False, "speed": 1.0, "scenario": None}
    return argparse.Namespace(**(keys | {"seed": 0} | changes))


def test_real_units_are_started_with_their_site_and_folder(tmp_path, words):
    start_apart(namespace(tmp_path), Quiet())
    assert words == [
        ["--site", "northquay", "--runs", str(tmp_path / "runs")],
        tmp_path / "runs" / "northquay.log", tmp_path / "state" / "hosts", "northquay", False,
    ]  # fmt: skip


def test_a_rehearsal_is_started_with_its_speed_seed_and_scenario(tmp_path, words):
    scenario = min((Path(__file__).parents[2] / "configs" / "scenarios").glob("*.yaml")).stem
    start_apart(namespace(tmp_path, rehearse=True, speed=math.inf, seed=7, scenario=scenario), Quiet())
    assert words[0][4:] == ["--rehearse", "--speed", "max", "--seed", "7", "--scenario", scenario]
    assert words[1] == tmp_path / "runs" / "northquay-rehearsal.log"


def test_flaws_of_a_site_are_told_here_and_nothing_is_started(tmp_path, words, capsys):
    (tmp_path / "bad.yaml").write_text("title: Bad\nsource: 7\n")
    assert main(["control", "--site", str(tmp_path / "bad.yaml")]) == 2
    assert "bad.yaml:2:" in capsys.readouterr().err
    assert words == []


def run_python(monkeypatch, text: str) -> "list[subprocess.Popen[bytes]]":
    """Let this run instead of a run host; what is started will be in the list."""
    popen, started = subprocess.Popen, []

    def other(command, **keys):
        started.append(popen([sys.executable, "-c", text], **keys))
        return started[-1]

    monkeypatch.setattr(subprocess, "Popen", other)
    return started


def test_a_run_host_that_ends_at_once_is_told_in_its_own_words(tmp_path, monkeypatch):
    log = tmp_path / "runs" / "place.log"
    log.parent.mkdir()
    log.write_text("of yesterday\n")
    run_python(monkeypatch, "import sys; print('bank 1 is held by somebody', file=sys.stderr); sys.exit(2)")
    with pytest.raises(StartFault, match=r"^bank 1 is held by somebody$"):
        start([], log, tmp_path / "hosts", "place", False)
    assert log.read_text().startswith("of yesterday")


def test_a_run_host_that_ends_without_a_word_is_told_with_its_exit_code(tmp_path, monkeypatch):
    run_python(monkeypatch, "raise SystemExit(7)")
    with pytest.raises(StartFault, match=r"^the run host ended with exit code 7; log: .*place\.log$"):
        start([], tmp_path / "place.log", tmp_path / "hosts", "place", False)


def test_a_run_host_that_does_not_come_up_is_told_and_ended(tmp_path, monkeypatch):
    monkeypatch.setattr(spawn, "START_S", 0.3)
    started = run_python(monkeypatch, "import time; time.sleep(30)")
    with pytest.raises(StartFault, match=r"did not come up within 0 s; log: "):
        start([], tmp_path / "place.log", tmp_path / "hosts", "place", False)
    assert started[0].wait(10.0) != 0


async def test_while_a_run_host_comes_up_no_other_is_connected_to(tmp_path, monkeypatch):
    async with opened(tmp_path / "hosts", rehearsal=False) as (_, card):
        looked: list[bool] = []
        monkeypatch.setattr(spawn, "find_card", lambda *_: looked.append(True))
        run_python(monkeypatch, "import time; time.sleep(0.5)")
        with pytest.raises(StartFault):
            await asyncio.to_thread(start, [], tmp_path / "place.log", tmp_path / "hosts", card.site, False)
        assert looked == []


CARD = """
import os, socket, sys, time
from pathlib import Path
from benchctl.door.card import Card, write_card
with socket.create_server(("127.0.0.1", 0)) as listener:
    time.sleep(0.2)
    card = Card(site="place", site_sha256="0" * 64, rehearsal=False, pid=os.getpid(), port=listener.getsockname()[1],
                secret="x" * 43, started_wall_s=time.time())
    write_card(Path(FOLDER), card)
    time.sleep(30)
"""


def test_a_run_host_that_has_put_its_card_there_is_found(tmp_path, monkeypatch):
    started = run_python(monkeypatch, CARD.replace("FOLDER", repr(str(tmp_path / "hosts"))))
    found = start([], tmp_path / "place.log", tmp_path / "hosts", "place", False)
    assert (found.pid, found.site) == (started[0].pid, "place")
    started[0].kill()
    started[0].wait(10.0)


# -- the log


def test_a_log_writes_lines_in_their_order(tmp_path):
    with (tmp_path / "log").open("wb") as out:
        log = Log(out.fileno())
        for number in range(50):
            log.write(f"line {number} °")
        log.close()
    assert (tmp_path / "log").read_text().splitlines() == [f"line {n} °" for n in range(50)]


def test_a_name_that_is_no_text_does_not_end_the_log(tmp_path):
    with (tmp_path / "log").open("wb") as out:
        log = Log(out.fileno())
        log.write("a file named \udcff")
        log.write("the next")
        log.close()
    assert (tmp_path / "log").read_text().splitlines() == ["a file named \\udcff", "the next"]


def test_a_pipe_that_nobody_reads_holds_nobody_up_and_the_lost_lines_are_told():
    reading, writing = os.pipe()
    log = Log(writing, lines=10)
    for _ in range(100):
        log.write("x" * 10_000)  # more than a pipe holds
    os.set_blocking(reading, False)
    got = b""
    while b"lines are lost" not in got:
        try:
            got += os.read(reading, 1 << 20)
        except BlockingIOError:
            log.write("more")
    log.close()
    os.close(reading)
    os.close(writing)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_disk_that_is_full_ends_nothing():
    with Path("/dev/full").open("wb") as out:
        log = Log(out.fileno())
        log.write("lost")
        log.write("lost too")
        log.close()
