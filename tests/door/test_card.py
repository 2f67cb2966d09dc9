"""Cards: private, whole, told when they are not, and removed when their host is gone."""

import os
import socket
import sys

import pytest

from benchctl.door.card import Card, CardFault, find_card, read_cards, remove_card, write_card
from benchctl.door.messages import PROTOCOL

POSIX = pytest.mark.skipif(os.name != "posix", reason="modes and owners are POSIX")


@pytest.fixture
def listener():
    """Somebody who listens, so that a card's port does not refuse."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


def card(port: int, site: str = "northquay", *, rehearsal: bool = False, started: float = 1.0, pid: int = 7) -> Card:
    return Card(
        site=site,
        site_sha256="0" * 64,
        rehearsal=rehearsal,
        pid=pid,
        port=port,
        secret="s" * 43,
        started_wall_s=started,
    )


def test_a_card_is_read_as_it_was_written_and_leaves_nothing_else(tmp_path, listener):
    folder = tmp_path / "hosts"
    written = write_card(folder, card(listener))
    assert read_cards(folder) == [written]
    assert written.path is not None
    assert [p.name for p in folder.iterdir()] == [written.path.name]
    assert "path" not in written.path.read_text()


def test_a_secret_is_not_in_what_is_printed(listener):
    assert "sss" not in repr(card(listener)) + str(card(listener))


@POSIX
def test_only_its_user_can_read_a_card_whatever_the_mask(tmp_path, listener):
    before = os.umask(0)
    try:
        written = write_card(tmp_path / "hosts", card(listener))
    finally:
        os.umask(before)
    assert written.path is not None
    assert written.path.stat().st_mode & 0o777 == 0o600
    assert written.path.parent.stat().st_mode & 0o777 == 0o700


@POSIX
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620])
def test_a_card_that_others_can_read_or_write_is_told_and_not_used(tmp_path, listener, mode):
    written = write_card(tmp_path, card(listener))
    assert written.path is not None
    written.path.chmod(mode)
    told: list[str] = []
    assert read_cards(tmp_path, told.append) == []
    assert told == [f"{written.path}: others can read or change it (mode {mode:03o}, expected 600): not used"]


@POSIX
def test_a_folder_that_others_may_write_into_holds_no_cards(tmp_path, listener):
    write_card(tmp_path, card(listener))
    tmp_path.chmod(0o777)
    with pytest.raises(CardFault, match="others may write into it"):
        read_cards(tmp_path)
    with pytest.raises(CardFault, match="others may write into it"):
        write_card(tmp_path, card(listener))


@POSIX
def test_a_link_is_no_card(tmp_path, listener):
    folder = tmp_path / "hosts"
    written = write_card(tmp_path / "elsewhere", card(listener))
    folder.mkdir(mode=0o700)
    (folder / "7-1.json").symlink_to(str(written.path))
    told: list[str] = []
    assert read_cards(folder, told.append) == []
    assert "cannot be read" in told[0]


@POSIX
def test_the_card_of_another_user_is_told_and_not_used(tmp_path, listener, monkeypatch):
    write_card(tmp_path, card(listener))
    me = os.geteuid()
    told: list[str] = []
    monkeypatch.setattr("benchctl.door.card.refuse_shared", lambda folder: None)  # the folder would be refused before
    monkeypatch.setattr(os, "geteuid", lambda: me + 1)
    assert read_cards(tmp_path, told.append) == []
    assert told[0].endswith(f"belongs to user {me}, not to you: not used")


@POSIX
def test_cards_in_a_folder_of_another_user_are_not_looked_at(tmp_path, listener, monkeypatch):
    write_card(tmp_path, card(listener))
    me = os.geteuid()
    monkeypatch.setattr(os, "geteuid", lambda: me + 1)
    with pytest.raises(CardFault, match=f"belongs to user {me}, not to you"):
        read_cards(tmp_path)


@POSIX
def test_a_folder_that_is_a_link_to_one_that_others_write_into_holds_no_cards(tmp_path, listener):
    (tmp_path / "open").mkdir()
    (tmp_path / "open").chmod(0o777)
    (tmp_path / "hosts").symlink_to(tmp_path / "open")
    with pytest.raises(CardFault, match="others may write into it"):
        write_card(tmp_path / "hosts", card(listener))
    (tmp_path / "open" / "1-1.json").write_text("{}")
    with pytest.raises(CardFault, match="others may write into it"):
        read_cards(tmp_path / "hosts")


@POSIX
def test_a_card_that_cannot_be_read_is_told_and_the_others_are_used(tmp_path, listener, monkeypatch):
    good, bad = write_card(tmp_path, card(listener)), write_card(tmp_path, card(listener, pid=9))
    opening = os.open
    told: list[str] = []

    def refusing(path, *rest, **keys):  # a mode of 000 stops no superuser
        if path == bad.path:
            raise PermissionError(13, "Permission denied")
        return opening(path, *rest, **keys)

    monkeypatch.setattr(os, "open", refusing)
    assert read_cards(tmp_path, told.append) == [good]
    assert told == [f"{bad.path}: cannot be read: Permission denied"]


@POSIX
@pytest.mark.parametrize("make", [os.mkfifo, lambda path: path.mkdir()], ids=["pipe", "folder"])
def test_what_is_no_file_is_told_and_nobody_waits_for_it(tmp_path, listener, make):
    good = write_card(tmp_path, card(listener))
    make(tmp_path / "9-9.json")
    told: list[str] = []
    assert read_cards(tmp_path, told.append) == [good]
    assert told == [f"{tmp_path / '9-9.json'}: is no file: not used"]


def test_no_folder_means_no_cards(tmp_path):
    assert read_cards(tmp_path / "none") == []


def test_a_folder_that_cannot_be_made_is_told_in_a_line(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(CardFault, match="no card can be written"):
        write_card(tmp_path / "file" / "hosts", card(1))


@pytest.mark.parametrize("text", ["", "{", "[]", '{"site": "x"}', "{}" * 100_000])
def test_what_is_no_card_is_told_and_left_alone(tmp_path, listener, text):
    good = write_card(tmp_path, card(listener))
    bad = tmp_path / "9-9.json"
    bad.write_text(text)
    bad.chmod(0o600)
    told: list[str] = []
    assert read_cards(tmp_path, told.append) == [good]
    assert told == [f"{bad}: is not the card of a run host"]
    assert bad.exists()


def test_keys_of_a_later_version_do_not_hide_a_host(tmp_path, listener):
    written = write_card(tmp_path, card(listener))
    assert written.path is not None
    written.path.write_text(written.path.read_text().replace(f'"protocol": {PROTOCOL}', '"protocol": 99, "new": true'))
    (found,) = read_cards(tmp_path)
    assert found.protocol == 99


def test_a_card_whose_port_refuses_is_told_and_removed(tmp_path, listener):
    with socket.create_server(("127.0.0.1", 0)) as closed:
        gone = closed.getsockname()[1]
    stays = write_card(tmp_path, card(listener))
    stale = write_card(tmp_path, card(gone, pid=8))
    told: list[str] = []
    assert read_cards(tmp_path, told.append) == [stays]
    assert told == [
        f"run host for northquay (process 8) is gone: nobody listens on port {gone} any more; its card is removed"
    ]
    assert stale.path is not None
    assert not stale.path.exists()


def test_the_newest_of_a_site_is_found_and_a_rehearsal_is_another(tmp_path, listener):
    for pid, (site, started) in enumerate((("northquay", 1.0), ("northquay", 3.0), ("northquay", 2.0), ("x", 9.0))):
        write_card(tmp_path, card(listener, site, pid=pid, started=started))
    write_card(tmp_path, card(listener, pid=20, rehearsal=True, started=5.0))
    found = find_card(tmp_path, "northquay", False)
    assert found is not None
    assert found.pid == 1
    rehearsed = find_card(tmp_path, "northquay", True)
    assert rehearsed is not None
    assert rehearsed.pid == 20
    assert find_card(tmp_path, "millrace", False) is None


def test_the_card_of_another_host_in_its_place_is_not_removed(tmp_path, listener):
    old = write_card(tmp_path, card(listener))
    new = write_card(tmp_path, old.model_copy(update={"secret": "t" * 43}))
    remove_card(old)
    assert read_cards(tmp_path) == [new]
    remove_card(new)
    remove_card(new)
    assert read_cards(tmp_path) == []


@pytest.mark.skipif(sys.platform != "linux", reason="a full device is Linux's")
def test_what_could_not_be_written_whole_is_not_there(tmp_path, monkeypatch, listener):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fdopen", full)
    with pytest.raises(CardFault, match="No space left on device"):
        write_card(tmp_path, card(listener))
    assert list(tmp_path.iterdir()) == []
