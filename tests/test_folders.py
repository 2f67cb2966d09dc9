"""The user's folders: where they are, that nobody else may write into them, and what they lie on."""

import os
from pathlib import Path

import pytest

from benchctl.folders import FolderFault, data_folder, on_network, state_folder, state_path

HOME = Path.home()
posix = pytest.mark.skipif(os.name != "posix", reason="owners and modes are POSIX")


# XDG Base Directory Specification 0.8: defaults, and that relative paths are invalid and to be ignored.
@pytest.mark.parametrize(
    ("variables", "platform", "data", "state"),
    [
        ({}, "linux", HOME / ".local/share/benchctl", HOME / ".local/state/benchctl"),
        ({"XDG_DATA_HOME": "/d", "XDG_STATE_HOME": "/s"}, "linux", Path("/d/benchctl"), Path("/s/benchctl")),
        (
            {"XDG_DATA_HOME": "d", "XDG_STATE_HOME": "s"},
            "linux",
            HOME / ".local/share/benchctl",
            HOME / ".local/state/benchctl",
        ),
        (
            {},
            "darwin",
            HOME / "Library/Application Support/benchctl",
            HOME / "Library/Application Support/benchctl/state",
        ),
        ({"LOCALAPPDATA": "/l"}, "win32", Path("/l/benchctl"), Path("/l/benchctl/state")),
        ({"BENCHCTL_STATE": "/own"}, "linux", HOME / ".local/share/benchctl", Path("/own")),
    ],
)
def test_folders_are_where_the_platform_keeps_such_things(variables, platform, data, state):
    assert data_folder(variables, platform) == data
    assert state_path(variables, platform) == state


def test_a_relative_state_folder_is_refused_for_two_terminals_would_not_share_it(monkeypatch):
    monkeypatch.setenv("BENCHCTL_STATE", "here")
    with pytest.raises(FolderFault, match="BENCHCTL_STATE=here: expected an absolute path"):
        state_folder()


@posix
def test_the_state_folder_is_made_for_its_user_alone(tmp_path, monkeypatch):
    monkeypatch.setenv("BENCHCTL_STATE", str(tmp_path / "a" / "b"))
    made = state_folder()
    assert made == tmp_path / "a" / "b"
    assert made.stat().st_mode & 0o777 == 0o700
    assert state_folder() == made


@posix
@pytest.mark.parametrize("mode", [0o770, 0o702, 0o777])
def test_a_state_folder_that_others_may_write_into_is_refused(tmp_path, monkeypatch, mode):
    monkeypatch.setenv("BENCHCTL_STATE", str(tmp_path))
    tmp_path.chmod(mode)
    with pytest.raises(FolderFault, match=rf"others may write into it \(mode {mode:o}\); chmod 700 it"):
        state_folder()
    tmp_path.chmod(0o755)  # reading is another matter: what is secret has a mode of its own
    assert state_folder() == tmp_path


@posix
@pytest.mark.parametrize("link", [False, True])
def test_a_state_folder_of_somebody_else_is_refused(tmp_path, monkeypatch, link):
    place = tmp_path / "state"
    if link:
        place.symlink_to(tmp_path)
    monkeypatch.setenv("BENCHCTL_STATE", str(place))
    me = os.geteuid()
    if not link:
        state_folder()
    monkeypatch.setattr(os, "geteuid", lambda: me + 1)
    with pytest.raises(FolderFault, match=rf"belongs to user {me}, not to you \(user {me + 1}\)"):
        state_folder()


def test_a_state_folder_that_cannot_be_made_is_told_in_a_line(tmp_path, monkeypatch):
    (tmp_path / "file").touch()
    for place in (tmp_path / "file", tmp_path / "file" / "below"):
        monkeypatch.setenv("BENCHCTL_STATE", str(place))
        with pytest.raises(FolderFault, match=r"file.*: (cannot be used|expected a folder)") as told:
            state_folder()
        assert "\n" not in str(told.value)


# Form: proc_pid_mountinfo(5): id parent major:minor root POINT options [optional...] - TYPE source options
MOUNTS = """\
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
30 22 0:25 / /home rw,relatime shared:5 master:2 - nfs4 server:/home rw,vers=4.2
31 30 8:5 / /home/local rw - xfs /dev/sdb1 rw
40 22 0:40 / /mnt/site\\040share rw - cifs //server/share rw
41 22 0:41 / /mnt/remote rw - fuse.sshfs me@there:/ rw
42 22 0:42 / /mnt/unheard rw - fuse.unheard-of it rw
43 22 8:7 / /mnt/stick rw - fuseblk /dev/sdc1 rw
44 22 0:44 / /mnt/auto rw - autofs systemd-1 rw
45 44 0:45 / /mnt/auto rw - nfs server:/auto rw
46 22 0:46 / /mnt/windows rw - 9p drvfs rw
no such line
"""


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("/var/lib/runs", False),
        ("/home/me/runs", True),
        ("/homely/runs", False),  # /home is no part of it
        ("/home/local/runs", False),
        ("/mnt/site share/runs", True),
        ("/mnt/remote", True),
        ("/mnt/unheard/runs", None),
        ("/mnt/stick/runs", False),
        ("/mnt/auto/runs", True),
        ("/mnt/windows/runs", True),
    ],
)
def test_a_network_file_system_is_known_by_the_deepest_and_latest_mount(path, found):
    assert on_network(Path(path), MOUNTS) is found


def test_what_a_path_lies_on_is_unknown_without_a_list_of_mounts(monkeypatch, tmp_path):
    assert on_network(Path("/a"), "") is None
    monkeypatch.setattr("benchctl.folders.MOUNTS", tmp_path / "none")
    assert on_network(Path("/a")) is None


def test_a_link_is_followed_to_where_it_leads(tmp_path):
    (tmp_path / "link").symlink_to("/home/me")
    assert on_network(tmp_path / "link" / "runs", MOUNTS) is True


@pytest.mark.skipif(not Path("/proc/self/mountinfo").exists(), reason="only Linux lists its mounts there")
def test_this_computers_own_list_is_read():
    assert on_network(Path("/proc")) is False
