"""One owner for each endpoint, held by the operating system for as long as its holder lives. With real processes."""

import errno
import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from benchctl.claim import Claim, ClaimFault, Holder, claim, endpoints
from benchctl.core.site import Endpoint
from benchctl.files import read_site

BANK_1, BANK_2, BANK_3 = (Endpoint("192.0.2.20", port) for port in (502, 503, 504))  # RFC 5737: for documentation
WAIT_S = 20.0

# Holds what a site file names, tells it, then does as the first line of its input says.
HOLDER = """
import os, subprocess, sys
from pathlib import Path
from benchctl.claim import claim, endpoints
from benchctl.files import read_site
site, _ = read_site(sys.argv[2])
held = claim(endpoints(site), "control", site.name, Path(sys.argv[1]))
child = None
if sys.argv[3] == "exec":
    child = subprocess.Popen([sys.executable, "-c", "input()"], close_fds=False).pid
elif sys.argv[3] == "fork":
    child = os.fork()
    if child == 0:
        os.write(1, b"0\\n")
        input()
        os._exit(0)
os.write(1, f"{child}\\n".encode())  # in one piece: two processes write here
input()
"""

posix = pytest.mark.skipif(os.name != "posix", reason="signals and forks are POSIX")


def site_file(folder: Path, name: str, host: str) -> str:
    """The shipped site with every unit at another spelling of its host."""
    text = (Path(__file__).parents[1] / "configs" / "sites" / "northquay.yaml").read_text(encoding="utf-8")
    assert "127.0.0.1:" in text
    path = folder / f"{name}.yaml"
    path.write_text(text.replace("127.0.0.1:", f"{host}:"), encoding="utf-8")
    return str(path)


@contextmanager
def holder(folder: Path, site: str, child: str = "none") -> Iterator[tuple[subprocess.Popen[str], int | None]]:
    """A process that holds the endpoints of a site, and its child's process id."""
    program = [sys.executable, "-c", HOLDER, str(folder), site, child]
    process = subprocess.Popen(program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdin
    assert process.stdout
    try:
        lines = [process.stdout.readline().strip() for _ in range(2 if child == "fork" else 1)]
        assert all(lines), "the holder does not hold"
        told = max(lines, key=len)  # a forked child says 0 once it is on its own
        yield process, None if told == "None" else int(told)
    finally:
        process.kill()
        process.wait()
        process.stdin.close()  # a child that lives on reads the end of its input, and ends
        process.stdout.close()


def is_free(named: dict[Endpoint, str], folder: Path) -> bool:
    try:
        claim(named, "probe", "", folder).release()
    except ClaimFault:
        return False
    return True


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.fixture
def northquay(tmp_path):
    return site_file(tmp_path, "northquay", "127.0.0.1")


@pytest.fixture
def named(northquay):
    return endpoints(read_site(northquay)[0])


def test_the_second_claimant_is_told_who_holds_what(tmp_path, northquay, named):
    folder = tmp_path / "claims"
    bank_2 = next(e for e, names in named.items() if "bank 2" in names)
    with holder(folder, northquay) as (process, _):
        with pytest.raises(ClaimFault) as fault:
            claim({bank_2: "bank 2"}, "probe", "northquay", folder)
        # the date appears only when the holder has held on from another day
        assert re.fullmatch(
            rf"127\.0\.0\.1:{bank_2.port} \(bank 2\) is held by `benchctl control` for northquay "
            rf"\(process {process.pid}, since (\d{{4}}-\d\d-\d\d )?\d\d:\d\d\)",
            str(fault.value),
        )
        assert fault.value.holder
        assert (fault.value.holder.pid, fault.value.holder.verb) == (process.pid, "control")
        assert datetime.fromisoformat(fault.value.holder.since).utcoffset() is not None


@posix
def test_a_holder_that_is_killed_holds_nothing_and_its_note_means_nothing(tmp_path, northquay, named):
    folder = tmp_path / "claims"
    with holder(folder, northquay) as (process, _):
        assert not is_free(named, folder)
        process.send_signal(signal.SIGKILL)
        process.wait()
        stale = sorted(folder.glob("*.json"))
        assert stale
        with claim(named, "control", "alder-ridge", folder):
            assert all(f'"pid": {os.getpid()}' in note.read_text() for note in stale)
        assert not list(folder.glob("*.json"))


@posix
@pytest.mark.parametrize("way", ["exec", "fork"])
def test_a_child_that_outlives_a_killed_holder_does_not_hold_on(tmp_path, northquay, named, way):
    folder = tmp_path / "claims"
    with holder(folder, northquay, way) as (process, child):
        assert child
        assert not is_free(named, folder)
        process.send_signal(signal.SIGKILL)
        process.wait()
        assert alive(child)
        assert is_free(named, folder)
        assert alive(child)


def test_two_site_files_that_name_one_unit_by_name_and_by_address_conflict(tmp_path, northquay, named):
    folder = tmp_path / "claims"
    by_name = endpoints(read_site(site_file(tmp_path, "by-name", "localhost"))[0])
    assert not by_name.keys() & named.keys()
    with (
        holder(folder, northquay),
        pytest.raises(ClaimFault, match=r"localhost:\d+ \(.+\) is held by `benchctl control`"),
    ):
        claim(by_name, "control", "by-name", folder)


def test_the_same_process_cannot_claim_twice(tmp_path):
    told = rf"^192\.0\.2\.20:502 \(bank 1\) is held .*process {os.getpid()}"
    with claim({BANK_1: "bank 1"}, "control", "", tmp_path), pytest.raises(ClaimFault, match=told):
        claim({BANK_1: "bank 1"}, "probe", "", tmp_path)
    assert is_free({BANK_1: "bank 1"}, tmp_path)


def test_all_or_nothing(tmp_path):
    with claim({BANK_2: "bank 2"}, "control", "northquay", tmp_path):
        with pytest.raises(ClaimFault, match=r"\(bank 2\) is held"):
            claim({BANK_1: "bank 1", BANK_2: "bank 2", BANK_3: "bank 3"}, "probe", "", tmp_path)
        assert is_free({BANK_1: "", BANK_3: ""}, tmp_path)
    assert is_free({BANK_1: "", BANK_2: "", BANK_3: ""}, tmp_path)


def test_of_several_that_want_the_same_at_once_exactly_one_gets_it(tmp_path):
    rnd = random.Random(1)
    wanted = [Endpoint("192.0.2.21", port) for port in range(8)]
    start = threading.Barrier(6)

    def want(order: list[Endpoint]) -> Claim | None:
        start.wait(WAIT_S)
        try:
            return claim(dict.fromkeys(order, ""), "control", "", tmp_path)
        except ClaimFault:
            return None

    with ThreadPoolExecutor(6) as pool:
        for _ in range(20):
            won = [c for c in pool.map(want, [rnd.sample(wanted, 8) for _ in range(6)]) if c]
            assert len(won) == 1
            won[0].release()


def test_a_claim_may_be_released_twice_and_from_another_thread(tmp_path):
    ours = claim({BANK_1: ""}, "control", "", tmp_path)
    thread = threading.Thread(target=ours.release)
    thread.start()
    thread.join(WAIT_S)
    assert is_free({BANK_1: ""}, tmp_path)
    with claim({BANK_1: ""}, "control", "", tmp_path):
        ours.release()
        assert not is_free({BANK_1: ""}, tmp_path)


@pytest.mark.parametrize("note", ["", "{", "[]", '{"pid": 1}', '{"pid": 1, "verb": "x", "site": "", "since": "noon"}'])
def test_a_note_that_cannot_be_read_leaves_the_holder_unnamed(tmp_path, note):
    with claim({BANK_1: ""}, "control", "", tmp_path):
        for path in tmp_path.glob("*.json"):
            path.write_text(note)
        with pytest.raises(ClaimFault, match=r"^192\.0\.2\.20:502 is held by another process$") as fault:
            claim({BANK_1: ""}, "probe", "", tmp_path)
        assert fault.value.holder is None


def test_a_disk_without_room_for_a_note_does_not_keep_a_chain_from_its_owner(tmp_path, monkeypatch):
    def full(*_: object, **__: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "write_text", full)
    with claim({BANK_1: ""}, "control", "", tmp_path), pytest.raises(ClaimFault, match="is held by another process"):
        claim({BANK_1: ""}, "probe", "", tmp_path)


def test_words_of_a_holder_tell_the_day_only_when_it_is_not_today():
    today = datetime.now().astimezone().replace(hour=8, minute=15)
    told = Holder(4711, "control", "northquay", today.isoformat(timespec="seconds"))
    assert str(told) == "`benchctl control` for northquay (process 4711, since 08:15)"
    before = today - timedelta(days=1)
    told = Holder(4711, "probe", "", before.isoformat(timespec="seconds"))
    assert str(told) == f"`benchctl probe` (process 4711, since {before:%Y-%m-%d} 08:15)"


# -- which endpoints are one


def at(*addresses: str) -> Callable[[str], list[str]]:
    """A name server that knows these addresses for every name."""
    return lambda host: list(addresses)


def unknown(host: str) -> list[str]:
    raise OSError("no such host")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("bank2.site.example", "BANK2.site.example."),  # RFC 4343: names are compared without case
        ("2001:db8::1", "2001:DB8:0:0::1"),  # RFC 5952: one address, many spellings
        ("192.0.2.7", "::ffff:192.0.2.7"),  # RFC 4291 2.5.5.2: IPv4-mapped
    ],
)
def test_two_spellings_of_one_host_conflict_also_where_no_name_server_is(tmp_path, one, other):
    with claim({Endpoint(one, 502): ""}, "control", "", tmp_path, look_up=unknown), pytest.raises(ClaimFault):
        claim({Endpoint(other, 502): ""}, "control", "", tmp_path, look_up=unknown)


def test_a_name_with_several_addresses_holds_each_of_them(tmp_path):
    with claim({Endpoint("bank-2", 502): ""}, "control", "", tmp_path, look_up=at("192.0.2.7", "2001:db8::7")):
        for host in ("192.0.2.7", "2001:db8:0::7"):
            with pytest.raises(ClaimFault):
                claim({Endpoint(host, 502): ""}, "probe", "", tmp_path)


def test_a_name_conflicts_with_itself_when_the_name_server_has_gone(tmp_path):
    named = {Endpoint("bank-2", 502): ""}
    with claim(named, "control", "", tmp_path, look_up=at("192.0.2.7")), pytest.raises(ClaimFault):
        claim(named, "probe", "", tmp_path, look_up=unknown)


def test_other_ports_and_other_hosts_do_not_conflict(tmp_path):
    with claim({Endpoint("192.0.2.7", 502): ""}, "control", "", tmp_path):
        assert is_free({Endpoint("192.0.2.7", 503): "", Endpoint("192.0.2.8", 502): ""}, tmp_path)


def test_one_site_may_reach_one_socket_under_two_names(tmp_path):
    gateway = Endpoint("192.0.2.7", 502, gateway=True)
    claim({gateway: "bank 1", Endpoint("gw", 502): "meter"}, "control", "", tmp_path, look_up=at("192.0.2.7")).release()


def test_a_name_server_that_does_not_answer_delays_a_claim_by_a_bounded_time(tmp_path):
    done = threading.Event()

    def silent(host: str) -> list[str]:
        done.wait(WAIT_S)
        return []

    named = {Endpoint(f"bank-{n}", 502): "" for n in range(10)}
    began = time.monotonic()
    claim(named, "control", "", tmp_path, look_up=silent, resolve_s=0.05).release()
    done.set()
    assert time.monotonic() - began < WAIT_S / 2


def test_a_host_cannot_lead_out_of_the_folder_and_a_long_one_has_a_file(tmp_path):
    folder = tmp_path / "claims"
    for host in ("../../x", "/etc/x", "a" * 300, "fe80::1%eth0", "", "ä"):
        with claim({Endpoint(host, 502): ""}, "control", "", folder, look_up=unknown):
            pass
    assert [p.name for p in tmp_path.iterdir()] == ["claims"]
    assert len(list(folder.glob("*.lock"))) == 6


def test_the_names_behind_an_endpoint_are_told_together():
    site, _ = read_site("alder-ridge")
    behind = endpoints(site)
    assert sum(len(names.split(", ")) for names in behind.values()) == len(site.units) + len(site.instruments)
    assert len(behind) < len(site.units)


# -- where locks cannot be kept


@posix
def test_a_folder_that_others_may_write_into_is_refused(tmp_path):
    tmp_path.chmod(0o777)
    with pytest.raises(ClaimFault, match="others may write into it"):
        claim({BANK_1: ""}, "control", "", tmp_path)


def test_the_folder_is_the_users_own_unless_given(tmp_path, monkeypatch):
    monkeypatch.setenv("BENCHCTL_STATE", str(tmp_path / "state"))
    with claim({BANK_1: ""}, "control", ""):
        assert list((tmp_path / "state" / "claims").glob("192.0.2.20-502-*.lock"))


def test_a_folder_that_cannot_be_made_is_told_in_a_line(tmp_path, monkeypatch):
    (tmp_path / "file").touch()
    with pytest.raises(ClaimFault, match=r"file: (cannot be used|expected a folder)"):
        claim({BANK_1: ""}, "control", "", tmp_path / "file")
    monkeypatch.setenv("BENCHCTL_STATE", "relative")
    with pytest.raises(ClaimFault, match="expected an absolute path"):
        claim({BANK_1: ""}, "control", "")


@posix
def test_a_lock_that_cannot_be_opened_is_told_in_a_line(tmp_path):
    with claim({BANK_1: ""}, "control", "", tmp_path):
        lock = next(tmp_path.glob("*.lock"))
    lock.unlink()
    lock.mkdir()
    with pytest.raises(ClaimFault, match=r"^192\.0\.2\.20:502 \(bank 1\) cannot be claimed: .*\.lock: "):
        claim({BANK_1: "bank 1"}, "control", "", tmp_path)


@posix
def test_a_file_system_without_locks_is_refused(tmp_path, monkeypatch):
    def missing(*_: object) -> None:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))

    monkeypatch.setattr("fcntl.flock", missing)
    with pytest.raises(ClaimFault, match="has no locks"):
        claim({BANK_1: ""}, "control", "", tmp_path)
