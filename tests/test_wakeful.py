"""Kept awake while it is wanted, by programs that are played on the PATH: proven, refused, gone in the middle."""

import os
import stat
import sys
import time

import pytest

from benchctl.wakeful import WAYS, Child, Refused, Stand, Wakeful, Way

LIMIT_S = 20.0
LINUX = pytest.mark.skipif(os.name != "posix", reason="programs are played by shell scripts")
pytestmark = LINUX


def until(test):
    end_s = time.monotonic() + LIMIT_S
    while not (found := test()):
        assert time.monotonic() < end_s, "it does not come"
        time.sleep(0.01)
    return found


@pytest.fixture
def played(tmp_path, monkeypatch):
    """Puts a program on the PATH; the folder in which it can leave notes."""

    def put(name, script):
        path = tmp_path / name
        path.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
        path.chmod(path.stat().st_mode | stat.S_IXUSR)
        return tmp_path

    monkeypatch.setenv("PATH", f"{tmp_path}:{os.environ['PATH']}")
    return put


INHIBIT = """echo "$@" >> {notes}/asked
echo $$ > {notes}/pid
while [ $# -gt 1 ]; do shift; done
"$1"
echo over >> {notes}/asked"""


def gone(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


def told_by(ways, **keys):
    said: list[Stand] = []
    return Wakeful(said.append, ways, **keys), said


def test_it_is_held_by_what_the_manual_says_and_proven_by_its_child(played, tmp_path):
    played("systemd-inhibit", INHIBIT.format(notes=tmp_path))
    awake, said = told_by(WAYS["linux"])
    awake.want(True)
    stand = until(lambda: said and said[-1])
    assert stand == Stand(True, "this computer is kept awake: sleep, idle and a closed lid (systemd-inhibit)")
    words = (tmp_path / "asked").read_text(encoding="utf-8").split()
    assert words[0] == "--what=sleep:idle:handle-lid-switch"
    assert "--mode=block" in words
    pid = int((tmp_path / "pid").read_text())
    awake.want(False)
    until(lambda: len(said) == 2)
    assert said[-1] == Stand(False, "this computer may sleep again")
    assert (tmp_path / "asked").read_text(encoding="utf-8").endswith("over\n")  # its child has ended by itself
    assert gone(pid)
    awake.close()


def test_where_all_of_it_is_refused_idle_alone_is_held_and_what_is_left_is_told(played, tmp_path):
    """As logind does for a session that is not at the seat of the computer."""
    refuse = 'case "$1" in *sleep*) echo "Failed to inhibit: Access denied" >&2; exit 1;; esac\n'
    played("systemd-inhibit", refuse + INHIBIT.format(notes=tmp_path))
    awake, said = told_by(WAYS["linux"])
    awake.want(True)
    stand = until(lambda: said and said[-1])
    assert stand.held
    assert "kept awake: idle (systemd-inhibit)" in stand.words
    assert "a closed lid and a person still put it to sleep" in stand.words
    assert "Access denied" in stand.words
    awake.close()


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("echo 'Failed to connect to bus: No such file or directory' >&2; exit 1", "Failed to connect to bus"),
        ("exit 3", "exit code 3"),
        ("echo nonsense; sleep 60", "does not do what it should"),
    ],
)
def test_what_cannot_be_had_is_told_with_why_and_what_to_do(played, script, words):
    played("systemd-inhibit", script)
    awake, said = told_by(WAYS["linux"])
    awake.want(True)
    stand = until(lambda: said and said[-1])
    assert not stand.held
    assert "may fall asleep while load is on" in stand.words
    assert words in stand.words
    assert "switch sleep off by hand" in stand.words
    awake.close()


def test_a_program_that_never_answers_is_given_up_and_ended(played, tmp_path):
    played("mute", f"echo $$ > {tmp_path}/pid; exec sleep 600")
    with pytest.raises(Refused, match="has not answered"):
        Child(("mute",), proves=True, patience_s=0.3)
    assert gone(int((tmp_path / "pid").read_text()))


def test_a_program_that_is_not_there_and_a_system_without_any_are_told():
    with pytest.raises(Refused, match="cannot be run: No such file"):
        Child(("no-such-program-here",), proves=True)
    awake, said = told_by(())
    awake.want(True)
    assert f"no way is known for {sys.platform}" in until(lambda: said and said[-1]).words
    awake.close()


class Hold:
    """A hold that is played."""

    def __init__(self):
        self.why, self.released = "", 0

    def gone(self):
        return self.why

    def release(self):
        self.released += 1


def test_a_hold_that_goes_away_is_told_and_taken_again(monkeypatch):
    monkeypatch.setattr("benchctl.wakeful.LOOK_S", 0.02)
    holds = [Hold(), Hold()]
    left = iter(holds)
    awake, said = told_by((Way("a way", lambda: next(left), "sleep", ""),), again_s=0.0)
    awake.want(True)
    until(lambda: said)
    holds[0].why = "it was ended"
    until(lambda: len(said) == 3)
    assert [s.held for s in said] == [True, False, True]
    assert said[1].words == "this computer is not kept awake any more: it was ended"
    assert holds[0].released == 1
    awake.close()
    assert holds[1].released == 1


def test_what_is_refused_again_and_again_is_told_once(monkeypatch):
    monkeypatch.setattr("benchctl.wakeful.LOOK_S", 0.005)
    tries = []

    def refuse():
        tries.append(1)
        raise Refused("no")

    awake, said = told_by((Way("a way", refuse, "sleep", ""),), again_s=0.0)
    awake.want(True)
    until(lambda: len(tries) > 5)
    awake.close()
    assert len(said) == 1


def test_a_look_beforehand_tells_only_what_is_missing_and_holds_nothing():
    hold = Hold()
    awake, said = told_by((Way("a way", lambda: hold, "sleep", ""),))
    awake.look()
    until(lambda: hold.released)
    assert said == []
    awake.close()
    awake, said = told_by(())
    awake.look()
    assert not until(lambda: said and said[-1]).held
    awake.close()


def test_a_child_ends_with_us_however_we_end(played, tmp_path):
    """The other end of its pipe is ours; the system closes it, whatever has ended us."""
    played("systemd-inhibit", INHIBIT.format(notes=tmp_path))
    reader, writer = os.pipe()
    ours = os.fork()
    if ours == 0:  # a process that is ended without any chance to tidy up
        os.close(reader)
        WAYS["linux"][0].take()
        os.write(writer, b"held")
        os._exit(9)
    os.close(writer)
    assert os.read(reader, 4) == b"held"
    os.close(reader)
    os.waitpid(ours, 0)
    until(lambda: (tmp_path / "asked").read_text(encoding="utf-8").endswith("over\n"))


def test_caffeinate_is_told_whose_end_to_wait_for(played, tmp_path):
    played("caffeinate", f'echo "$@" > {tmp_path}/asked; exec sleep 600')
    hold = WAYS["darwin"][0].take()
    assert (tmp_path / "asked").read_text(encoding="utf-8").split() == ["-i", "-s", "-w", str(os.getpid())]
    assert hold.gone() == ""
    hold.release()
    played("caffeinate", "echo 'no such option' >&2; exit 64")
    with pytest.raises(Refused, match="no such option"):
        WAYS["darwin"][0].take()
