"""Consoles over SSH, as a field engineer has them: a terminal that is killed, another that takes over, both lost.

In real terminals, through OpenSSH on loopback, at banks that answer over TCP; what happened is read afterwards in the
record and at mosquitto, and nothing of it may be missing in either. The place is invented.
"""

import asyncio
import json
import os
import signal
from itertools import pairwise

import pytest

from benchctl.record.reader import Reader
from tests.mqtt import mosquitto
from tests.mqtt.mosquitto import Mosquitto
from tests.mqtt.test_mosquitto import listening
from tests.needs import needs
from tests.system import ssh
from tests.system.live import fans_on, loaded, log, outcome, quiet, records, truth
from tests.system.small import place, short_program, until
from tests.system.tmux import COLUMNS, Terminal

pytestmark = [pytest.mark.slow, needs("tmux"), needs("ssh"), needs(ssh.NAME), needs(mosquitto.NAME)]
LOST_S = 6.0  # the site's time until load comes off where nobody is attached
UNDER = "benchctl/real/small/"


@pytest.fixture
def here(tmp_path):
    with place(tmp_path, more=f"attendance: {{console_lost: {LOST_S:g} s}}") as made:
        made.simulator()
        yield made


@pytest.fixture
def server(here):
    with ssh.serving(here) as made:
        yield made


@pytest.fixture
def broker(here):
    made = Mosquitto(here.folder / "m")
    made.start()
    (here.folder / "depot.yaml").write_text(f"title: Depot\nurl: mqtt://127.0.0.1:{made.port}\nsnapshot_every: 0.5 s\n")
    yield made
    made.kill()


class Far:
    """Terminals over SSH; all are closed at the end."""

    def __init__(self, here, server):
        self.here, self.server = here, server
        self.all: list[Terminal] = []
        self.count = 0

    def terminal(self, *words):
        """A verb in a terminal of its own."""
        size = (COLUMNS, 30)
        self.count += 1
        self.all.append(Terminal(self.here, f"far{self.count}", size=size, command=self.server.command(*words)))
        return self.all[-1]

    def signal(self, number):
        """For the ssh of every terminal."""
        for terminal in self.all:
            (pid,) = ssh.children(terminal.shell)
            os.kill(pid, number)

    def kill(self):
        """kill -9 for ssh and for the server's side of each session: the terminals are gone without a word."""
        self.signal(signal.SIGSTOP)  # so that none of them says goodbye
        assert self.server.cut() == len(self.all)
        self.signal(signal.SIGKILL)
        self.close()

    def close(self):
        while self.all:
            self.all.pop().close()


@pytest.fixture
def far(here, server):
    made = Far(here, server)
    yield made
    made.close()


@pytest.mark.timeout(240)  # within a minute where nothing else runs, half of it a bank's shortest cool-down
async def test_over_ssh_a_terminal_is_killed_a_second_person_takes_over_both_are_lost_and_all_of_it_is_told(
    here, far, broker
):
    async with listening(broker.port) as listener:
        host = await asyncio.to_thread(three_terminals, here, far)
        await asyncio.to_thread(until, lambda: told_at(listener, "run") and told_at(listener, "run")[-1]["sealed"])
        (path,) = records(here)
        the_record_has_all_of_it(here, path)
        await asyncio.to_thread(the_run_host_is_all_that_is_left, here, host)
        os.kill(host, signal.SIGTERM)
        await asyncio.to_thread(until, lambda: told_at(listener, "presence")[-1]["presence"] == "offline", 20.0)
        await asyncio.to_thread(until, lambda: not ssh.at_work(here.folder), 20.0)
    so_has_the_broker(listener, path)


def three_terminals(here, far):
    """What is done and seen; returns the run host's process."""
    words = ("--site", str(here.site), "--broker", str(here.folder / "depot.yaml"))
    first = far.terminal("run", str(short_program(here.folder, "10 min")), *words)
    first.until("Type your name to confirm these cautions")
    first.press("Robin", "Enter")
    first.until("segment 2: hold")
    until(lambda: loaded(here))
    far.kill()
    until(lambda: "nobody is attached" in log(here), 5.0)
    assert loaded(here)

    second = far.terminal("attach", "--operator", "Robin")
    second.until("returned to normal nobody is attached", 20.0)
    second.press("pause", "Enter")
    second.until("Robin at console 2 has charge; console 1 is not attached any more")
    second.press("resume", "Enter")
    second.until("resume (Robin)")

    third = far.terminal("console", "--site", str(here.site), "--operator", "Kim")
    third.until("WATCHING")
    third.press("C")
    third.until("Who watches from now on")
    third.type("Robin is called away")
    third.press("Enter", "Enter")
    third.until("Kim has charge, 1 watches")
    second.until("YOU WATCH from now on")
    assert loaded(here)

    far.kill()
    lost_s = truth(here)["t"]
    until(lambda: log(here).count("alarm: nobody is attached") == 2, 5.0)
    assert loaded(here)
    until(lambda: quiet(here), LOST_S + 15.0)
    assert truth(here)["t"] - lost_s > LOST_S - 1.0
    assert fans_on(here)

    last = far.terminal("attach", "--operator", "Robin")  # who comes back is told
    last.until("cooling down")
    last.until("outcome interrupted")
    last.until("ended with exit code 1")
    host = here.host_pid()
    assert host is not None
    return host


def the_record_has_all_of_it(here, path):
    """In its order, with who and from where; in words, and in what the verbs make of it."""
    assert outcome(path) == "interrupted"
    shown = here.verb("show", "latest").stdout
    rows = [json.loads(line) for line in here.verb("export", "latest", "--json").stdout.splitlines()]
    exported = [event["text"] for row in rows for event in row.get("events", ())]
    for words in STORY:
        assert words in " ".join(shown.split()), shown
        assert any(words in text for text in exported), words
    at = [next(i for i, text in enumerate(exported) if words in text) for words in STORY]
    assert at == sorted(at)
    assert "pause (Robin at console 2)" in " ".join(shown.split())
    with Reader(path) as reader:
        given = [c for scan in reader.scans() for c in scan.inputs(reader.settings.site).commands]
    assert [(c.verb.value, c.who, c.console) for c in given] == [
        ("take charge", "Robin", "console 1"),
        ("start", "Robin", "console 1"),
        ("pause", "Robin", "console 2"),
        ("resume", "Robin", "console 2"),
        ("take over", "Kim", "console 3"),
    ]


STORY = (
    "take charge",
    "nobody is attached",
    "Robin at console 2 has charge; console 1 is not attached any more",
    "Kim at console 3 has taken over from Robin at console 2: Robin is called away",
    f"nobody has been attached for {LOST_S:g} s: unloading",
    "all load is off",
)


def told_at(listener, leaf):
    return [found for topic, found, _ in listener.heard if topic == UNDER + leaf]


def so_has_the_broker(listener, path):
    """Every event of the record, in its order, and no number is missing in what was told."""
    with Reader(path) as reader:
        recorded = [(event.kind, event.text) for event in reader.events()]
    events = [found for topic, found, _ in listener.heard if topic.startswith(UNDER + "event/")]
    heard = [(event["what"], event["text"]) for event in events]
    left = iter(heard)
    assert all(one in left for one in recorded), "in the order of the record"
    for found in (events, told_at(listener, "snapshot")):
        assert all(b["seq"] == a["seq"] + 1 for a, b in pairwise(found))
    assert {event["lost"] for event in events} == {0}
    assert told_at(listener, "run")[-1]["outcome"] == "interrupted"
    assert told_at(listener, "state")[-1]["loaded"] is False


def the_run_host_is_all_that_is_left(here, host):
    """Of benchctl: no client of a lost terminal stays behind."""
    until(lambda: set(ssh.at_work(here.folder)) <= {host}, 10.0)
    assert set(ssh.at_work(here.folder)) == {host}


def test_a_link_that_falls_silent_is_a_lost_console_once_the_server_has_given_it_up(here, far):
    """Until then it is attached, and only the check-in asks for a person: nobody tells the far end of a cut cable."""
    first = far.terminal("run", str(short_program(here.folder, "10 min")), "--site", str(here.site))
    first.until("Type your name to confirm these cautions")
    first.press("Robin", "Enter")
    first.until("segment 2: hold")
    far.signal(signal.SIGSTOP)
    try:
        until(lambda: "nobody is attached" in log(here), 20.0)
        until(lambda: len(ssh.at_work(here.folder)) == 1, 10.0)
        until(lambda: quiet(here), LOST_S + 15.0)
        assert fans_on(here)
        assert "nobody has been attached" in log(here)
    finally:
        far.signal(signal.SIGCONT)
