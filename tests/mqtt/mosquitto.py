"""Debian's mosquitto on loopback, with persistence, passwords and TLS by certificates that are made here."""

import os
import shutil
import signal
import subprocess
import time
from dataclasses import dataclass, field
from pathlib import Path

import trustme

from tests.system.small import free_ports

NAME = "mosquitto"
SECRET = "S3cr@t!"  # noqa: S105 - invented
COME_UP_S = 10.0
TRIES = 5
RUNS = "running"  # says its log, once it listens


@dataclass
class Mosquitto:
    """A broker of its own process in a folder. log: every packet, by its kind and the client's name."""

    folder: Path
    password: str = ""  # of the user kim; empty: everybody may come in
    tls: bool = False  # and then a client has to show a certificate of the same authority
    host: str = "127.0.0.1"  # that its certificate is for
    port: int = 0
    quiet: bool = False  # neither a log of each packet nor a store that is written at each change
    process: "subprocess.Popen[bytes] | None" = None
    ca: trustme.CA = field(default_factory=trustme.CA)

    def start(self) -> None:
        """Start it, at the port and with the store that it had before, and wait until it listens."""
        self.folder.mkdir(exist_ok=True)
        given = self.port
        for _ in range(TRIES):
            self.port = given or free_ports(1)[0]
            if self._came_up():
                return
        raise AssertionError(self.log()[-2000:])

    def _came_up(self) -> bool:
        """Start it once; False when somebody else has taken the port meanwhile."""
        (self.folder / "m.conf").write_text(self._settings())
        binary = shutil.which(NAME)
        assert binary
        (self.folder / "m.log").touch()
        before = self.log().count(RUNS)
        with (self.folder / "m.log").open("ab") as log:
            self.process = subprocess.Popen(
                [binary, "-c", str(self.folder / "m.conf")], stdout=log, stderr=log, stdin=subprocess.DEVNULL
            )
        end_s = time.monotonic() + COME_UP_S
        while self.log().count(RUNS) == before:
            if self.process.poll() is not None:
                return False
            assert time.monotonic() < end_s, self.log()[-2000:]
            time.sleep(0.02)
        return True

    def kill(self, number: int = signal.SIGKILL) -> None:
        """End it: by SIGKILL nothing is stored, by SIGTERM it is."""
        if self.process is not None and self.process.poll() is None:
            os.kill(self.process.pid, signal.SIGCONT)
            os.kill(self.process.pid, number)
            self.process.wait(10.0)
        self.process = None

    def stop(self) -> None:
        """Let it stand still, its sockets open."""
        assert self.process is not None
        os.kill(self.process.pid, signal.SIGSTOP)

    def go_on(self) -> None:
        """And go on."""
        assert self.process is not None
        os.kill(self.process.pid, signal.SIGCONT)

    def log(self) -> str:
        """All that it has said."""
        return (self.folder / "m.log").read_text(errors="replace")

    def certificate(self, name: str = "kim") -> tuple[str, str]:
        """Files of a client's certificate and of its key."""
        made = self.ca.issue_cert(f"{name}@depot.example")
        cert, key = self.folder / f"{name}.pem", self.folder / f"{name}.key"
        made.cert_chain_pems[0].write_to_path(str(cert))
        made.private_key_pem.write_to_path(str(key))
        return str(cert), str(key)

    @property
    def ca_file(self) -> str:
        """Of its authority."""
        path = self.folder / "ca.pem"
        self.ca.cert_pem.write_to_path(str(path))
        return str(path)

    def _settings(self) -> str:
        lines = [
            f"listener {self.port} 127.0.0.1",
            f"allow_anonymous {'false' if self.password else 'true'}",
            "persistence true",
            f"persistence_location {self.folder}/",
            "log_dest stderr",
        ]
        if self.quiet:
            lines += ["log_type error", "log_type information", "connection_messages false"]
        else:
            lines += ["log_type all", "autosave_interval 1", "autosave_on_changes true"]
        if os.geteuid() == 0:
            lines.append("user root")  # it would become a user of its own, who may not write here
        if self.password:
            book = self.folder / "users"
            book.touch(mode=0o600)
            subprocess.run(
                ["mosquitto_passwd", "-b", str(book), "kim", self.password],
                check=True,
                capture_output=True,
                timeout=30.0,
            )
            lines.append(f"password_file {book}")
        if self.tls:
            made = self.ca.issue_cert(self.host)
            made.cert_chain_pems[0].write_to_path(str(self.folder / "server.pem"))
            made.private_key_pem.write_to_path(str(self.folder / "server.key"))
            lines += [
                f"cafile {self.ca_file}", f"certfile {self.folder}/server.pem", f"keyfile {self.folder}/server.key",
                "require_certificate true",
            ]  # fmt: skip
        return "\n".join([*lines, ""])
