"""The user's folders: where runs are kept, where a computer's processes find each other, and what they lie on.

%LOCALAPPDATA% on Windows, ~/Library/Application Support on macOS; elsewhere $XDG_DATA_HOME or ~/.local/share for data
and $XDG_STATE_HOME or ~/.local/state for state (XDG Base Directory Specification 0.8; a relative path is ignored).
"""

import os
import re
import stat
import sys
from collections.abc import Mapping
from pathlib import Path

VARIABLE = "BENCHCTL_STATE"
OWN = "benchctl"

# File systems of Linux that a second computer may write too: locks and shared memory are not kept between the two.
# "fuse.sshfs" is found here as "sshfs". The list is from memory; what is mounted by another program may be any of more.
NETWORK = frozenset(
    {
        *("nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "coda", "ceph", "glusterfs", "lustre", "beegfs", "davfs"),
        *("sshfs", "s3fs", "rclone", "gvfsd-fuse", "davfs2"),
        *("9p", "virtiofs", "vboxsf", "vmhgfs-fuse"),  # the disk of the computer that a virtual one runs on
    }
)
MOUNTS = Path("/proc/self/mountinfo")


class FolderFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """A folder of the user cannot be used. str() is one line that names the folder and what was found."""


def data_folder(variables: Mapping[str, str] = os.environ, platform: str = sys.platform) -> Path:
    """Where the user's runs are kept. It need not exist."""
    return _base(variables, platform, "XDG_DATA_HOME", Path(".local", "share")) / OWN


def state_path(variables: Mapping[str, str] = os.environ, platform: str = sys.platform) -> Path:
    """Where locks and the cards of run hosts belong: $BENCHCTL_STATE, else in the user's own folders.

    Raises FolderFault for a relative $BENCHCTL_STATE: two terminals would not mean the same folder by it.
    """
    stated = variables.get(VARIABLE)
    if stated:
        path = Path(stated).expanduser()
        if not path.is_absolute():
            raise FolderFault(f"{VARIABLE}={stated}: expected an absolute path")
        return path
    path = _base(variables, platform, "XDG_STATE_HOME", Path(".local", "state")) / OWN
    return path / "state" if platform in ("win32", "darwin") else path


def state_folder() -> Path:
    """The folder of `state_path`, made if need be, and private.

    Raises FolderFault when it cannot be made, belongs to somebody else or others may write into it. On Windows the
    access list of the user's profile is relied upon.
    """
    path = state_path()
    try:
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
        refuse_shared(path)
    except OSError as fault:
        raise FolderFault(f"{path}: cannot be used: {fault.strerror or fault}") from None
    return path


def refuse_shared(path: Path) -> None:
    """Raise FolderFault when a folder is another user's or writable by others. Raises OSError. POSIX only."""
    if os.name != "posix":
        return
    me = os.geteuid()
    for found in (path.lstat(), path.stat()):  # a link that somebody else has laid is no better than his folder
        if found.st_uid != me:
            raise FolderFault(f"{path}: belongs to user {found.st_uid}, not to you (user {me}); set {VARIABLE}")
    if not stat.S_ISDIR(found.st_mode):
        raise FolderFault(f"{path}: expected a folder")
    if found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        mode = stat.S_IMODE(found.st_mode)
        raise FolderFault(f"{path}: others may write into it (mode {mode:03o}); chmod 700 it, or set {VARIABLE}")


def on_network(path: Path, mounts: str | None = None) -> bool | None:
    """Does a path lie on a network file system, where records and locks are not safe? None when that cannot be told.

    The path need not exist yet. mounts: text in the form of /proc/self/mountinfo (proc_pid_mountinfo(5)); by default
    that of this process, which only Linux has.
    """
    if mounts is None:
        try:
            mounts = MOUNTS.read_text(encoding="utf-8", errors="surrogateescape")
        except OSError:
            return None
    kind, deepest, real = "", -1, path.resolve()
    for line in mounts.splitlines():
        fields, dash, about = line.partition(" - ")
        words, types = fields.split(" "), about.split(" ")
        if not dash or len(words) < 6:
            continue
        point = Path(re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), words[4]))
        if real.is_relative_to(point) and len(point.parts) >= deepest:  # of two at one place the later covers the other
            kind, deepest = types[0], len(point.parts)
    if kind.removeprefix("fuse.") in NETWORK:
        return True
    unknown = not kind or kind == "autofs" or kind.startswith("fuse.")
    return None if unknown else False


def _base(variables: Mapping[str, str], platform: str, name: str, default: Path) -> Path:
    if platform == "win32":
        return Path(variables.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if platform == "darwin":
        return Path.home() / "Library" / "Application Support"
    stated = Path(variables.get(name) or "")
    return stated if stated.is_absolute() else Path.home() / default
