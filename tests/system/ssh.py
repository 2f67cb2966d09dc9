"""An OpenSSH server of one's own on loopback: it takes one key, that is made here, and is gone with the test."""

import getpass
import os
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from pathlib import Path

from tests.system.small import Place, free_ports, until

NAME = "sshd"
COME_UP_S = 10.0
TRIES = 5
RUN = Path("/run/sshd")  # where a server of root's shuts its unprivileged part in; it wants it to be there

SETTINGS = """
ListenAddress 127.0.0.1
Port {port}
HostKey {folder}/host
AuthorizedKeysFile {folder}/ours.pub
PidFile none
StrictModes no
UsePAM no
PasswordAuthentication no
PermitRootLogin prohibit-password
PrintMotd no
ClientAliveInterval 2
ClientAliveCountMax 2
"""


class Server:
    """sshd as whoever runs the tests; its log is `said`."""

    def __init__(self, here: Place) -> None:
        self._here, self.folder = here, here.folder / "ssh"
        self.folder.mkdir()
        for name in ("host", "ours"):
            words = ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(self.folder / name)]
            subprocess.run(words, check=True, timeout=30.0)
        if os.geteuid() == 0:
            RUN.mkdir(mode=0o755, exist_ok=True)
        self._start()

    def _start(self) -> None:
        """Start it at a free port; somebody else may take that meanwhile."""
        binary, settings = shutil.which(NAME), self.folder / "settings"
        assert binary, "sshd is not on the path"
        for _ in range(TRIES):
            (self.port,) = free_ports(1)
            settings.write_text(SETTINGS.format(port=self.port, folder=self.folder))
            with (self.folder / "log").open("wb") as log:
                self.process = subprocess.Popen(
                    [binary, "-D", "-e", "-f", str(settings)], stdin=subprocess.DEVNULL, stdout=log, stderr=log
                )
            if self._listens():
                return
        raise AssertionError(self.said)

    def _listens(self) -> bool:
        end_s = time.monotonic() + COME_UP_S
        while self.process.poll() is None:
            assert time.monotonic() < end_s, self.said
            with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1.0):
                return self.process.poll() is None
            time.sleep(0.02)
        return False

    @property
    def said(self) -> str:
        """All that it has told its log."""
        return (self.folder / "log").read_text(errors="replace")

    def command(self, *words: str) -> str:
        """What a shell runs to have a verb of benchctl in a terminal at the other end: ssh is its child."""
        there = {k: v for k, v in self._here.env.items() if k.startswith(("BENCHCTL_", "PYTHON", "PATH"))}
        env = [f"{name}={value}" for name, value in there.items()]
        verb = shlex.join(["env", *env, sys.executable, "-m", "benchctl", *words])
        options = (
            f"UserKnownHostsFile={self.folder}/known", "StrictHostKeyChecking=accept-new", "IdentitiesOnly=yes",
            "LogLevel=ERROR",
        )  # fmt: skip
        ssh = ["ssh", "-tt", "-F", "/dev/null", "-p", str(self.port), "-i", str(self.folder / "ours")]
        ssh += [word for option in options for word in ("-o", option)]
        cd = f"cd {shlex.quote(str(self._here.folder))}"
        shell = f"{cd} && {verb}; echo ended with exit code $?; sleep 100"
        return shlex.join([*ssh, f"{getpass.getuser()}@127.0.0.1", shell]) + "; exit $?"

    def cut(self) -> int:
        """kill -9 for every session of the server, as when its computer's network goes; returns how many."""
        sessions = children(self.process.pid)
        for pid in [below for session in sessions for below in children(session)] + sessions:
            if b"sshd" in _read(pid, "cmdline"):  # a login by a key is two processes; the shell is left to the terminal
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
        until(lambda: not children(self.process.pid), 10.0)
        return len(sessions)

    def end(self) -> None:
        """End it and its sessions."""
        if self.process.poll() is None:
            self.cut()
            self.process.kill()
        self.process.wait(10.0)


@contextmanager
def serving(here: Place):
    """A server that is gone at the end."""
    made = Server(here)
    try:
        yield made
    finally:
        made.end()


def children(pid: int) -> list[int]:
    """Of a process, those that are not only waited for."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        fields = _read(int(folder.name), "stat").rpartition(b")")[2].split()
        if fields and int(fields[1]) == pid and fields[0] != b"Z":
            found.append(int(folder.name))
    return found


def at_work(folder: Path) -> dict[int, str]:
    """The processes of benchctl that have this folder in their environment: their number -> how they were called."""
    found = {}
    for entry in Path("/proc").glob("[0-9]*"):
        pid = int(entry.name)
        words = _read(pid, "cmdline").replace(b"\0", b" ").decode(errors="replace").strip()
        if os.fsencode(folder) in _read(pid, "environ") and words.startswith(f"{sys.executable} -m benchctl"):
            found[pid] = words
    return found


def _read(pid: int, name: str) -> bytes:
    """What the system tells of a process; empty for one that has gone."""
    try:
        return Path(f"/proc/{pid}/{name}").read_bytes()
    except OSError:
        return b""
