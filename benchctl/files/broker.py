"""A broker: where a bench is told of, as whom, and how often. Secrets are named here and never written here.

What is wrong with such a file is told without the lines of the file and without what was found: a password may stand
where it does not belong.
"""

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path as File
from typing import Annotated, Literal
from urllib.parse import SplitResult, urlsplit

from pydantic import BaseModel, Field, WithJsonSchema
from pydantic_core import ErrorDetails

from benchctl.files.check import Duration, Report, Strict, Text
from benchctl.files.fault import FileFault, Flaw, nearest
from benchctl.files.shelf import SourceFile
from benchctl.files.tree import Path

PORTS = {"mqtt": 1883, "mqtts": 8883}  # the registered ports of MQTT and of MQTT over TLS
PASSWORD = "BENCHCTL_BROKER_PASSWORD"  # noqa: S105 - the name of a variable, not what is in it
ROOT = "benchctl"
SNAPSHOT_S = 1.0
SHORTEST_S, LONGEST_S = 0.2, 3600.0
NAME = r"^[A-Za-z_][A-Za-z0-9_]*$"
TELLS = frozenset(
    {"title", "protocol", "root", "bench", "snapshot_every", "ca", "certificate", "key"}
)  # no secret here
LARGEST_BYTES = 1 << 16
SECRETS = ("password", "key_password")
NAMED = "expected {env: NAME} or {file: PATH}: a secret is not written here"
_FOUND = re.compile(r"'[^']*'|such as \S+")


class SecretFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """A secret cannot be had. str() names where it was looked for, and never what was found."""


@dataclass(frozen=True, slots=True)
class Secret:
    """Where a secret is: an environment variable or a file."""

    place: Literal["env", "file"]
    name: str

    def read(self, variables: Mapping[str, str] | None = None) -> str:
        """The secret; of a file without the line's end. Raises SecretFault."""
        if self.place == "env":
            found = (os.environ if variables is None else variables).get(self.name, "")
            if not found:
                raise SecretFault(f"the environment variable {self.name} is empty or not set")
            return found
        try:
            with File(self.name).open("rb") as stream:
                text = stream.read(LARGEST_BYTES).decode("utf-8").rstrip("\r\n")
        except OSError as fault:
            raise SecretFault(f"{self.name}: cannot be read: {fault.strerror}") from None
        except UnicodeDecodeError:
            raise SecretFault(f"{self.name}: is not UTF-8") from None
        if not text:
            raise SecretFault(f"{self.name}: is empty")
        return text


@dataclass(frozen=True, slots=True)
class Broker:
    """A broker and what it is told. bench: empty = the site's name. ca: empty = the system's authorities."""

    host: str
    port: int
    tls: bool = False
    title: str = ""
    protocol: Literal["3.1.1", "5"] = "5"
    user: str = ""
    password: Secret | None = None
    ca: str = ""
    certificate: str = ""
    key: str = ""
    key_password: Secret | None = None
    root: str = ROOT
    bench: str = ""
    snapshot_s: float = SNAPSHOT_S
    path: str = ""

    def __str__(self) -> str:
        """`mqtts://host:port`."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{'mqtts' if self.tls else 'mqtt'}://{host}:{self.port}"

    @property
    def secrets(self) -> tuple[Secret, ...]:
        """All that have to be had before it can be spoken to."""
        return tuple(s for s in (self.password, self.key_password) if s is not None)


class SecretRow(Strict):
    """Where a secret is; one of the two."""

    env: Annotated[str, Field(pattern=NAME, max_length=100)] | None = None
    file: Text | None = None


class BrokerFile(Strict):
    """A broker, and what it is told."""

    title: Text
    url: Text
    protocol: Annotated[Text, WithJsonSchema({"enum": ["3.1.1", "5", 5]})] | None = None
    user: Text | None = None
    password: SecretRow | None = None
    ca: Text | None = None
    certificate: Text | None = None
    key: Text | None = None
    key_password: SecretRow | None = None
    root: Text = ROOT
    bench: Text | None = None
    snapshot_every: Duration = SNAPSHOT_S


class QuietReport(Report):
    """Tells where something is wrong and what is expected, but neither the line nor what was found there."""

    def __init__(self, source: SourceFile) -> None:
        try:
            super().__init__(source)
        except FileFault as fault:
            raise FileFault(Flaw(f.path, f.line, f.column, _FOUND.sub("…", f.text)) for f in fault.flaws) from None

    def at(self, path: Path, told: str, key: bool = False) -> None:
        """A flaw at the value under a path (or at its key)."""
        super().at(path, told, key)
        last = self.flaws[-1]
        self.flaws[-1] = Flaw(last.path, last.line, last.column, last.text)

    def _tell(self, model: type[BaseModel], error: ErrorDetails) -> None:
        path, kind = tuple(error["loc"]), error["type"]
        first = str(path[0]) if path else ""
        if kind == "extra_forbidden":
            known = BrokerFile if len(path) == 1 else SecretRow
            self.at(path, f"unknown key{nearest(str(path[-1]), known.model_fields)}", key=True)
        elif first in SECRETS:
            self.at(path[:1], NAMED)
        elif kind == "missing" or first in TELLS:
            super()._tell(model, error)
        else:
            self.at(path, "expected a text on one line" if path else "expected a mapping of keys and values")


def broker_of(report: QuietReport) -> Broker:
    """The noun of a broker's file; paths in it are relative to it. Raises FileFault with every flaw."""
    file = report.read(BrokerFile)
    url, why = _url(file.url)
    if why:
        report.at(("url",), why)
    elif url.username is not None:
        report.at(("url",), "a user belongs under 'user'")
    elif url.path.strip("/"):
        report.at(("url",), "topics belong under 'root'")
    if file.protocol not in (None, "3.1.1", "5"):
        report.at(("protocol",), f"'{file.protocol}' is no version of MQTT that is spoken here, expected 3.1.1 or 5")
    if not SHORTEST_S <= file.snapshot_every <= LONGEST_S:
        report.at(("snapshot_every",), f"expected {SHORTEST_S:g} s to {LONGEST_S:g} s")
    for name in ("root", "bench"):
        value = getattr(file, name)
        if value is not None and (flaw := root_flaw(value)):
            report.at((name,), flaw)
    _secrets(report, file)
    _certificates(report, file, url.scheme == "mqtts")
    report.settle()
    base = File(report.source.path).parent
    password, key_password = _secret(file.password, base), _secret(file.key_password, base)
    return Broker(
        host=url.hostname or "",
        port=url.port or PORTS[url.scheme],
        tls=url.scheme == "mqtts",
        title=file.title,
        protocol="3.1.1" if file.protocol == "3.1.1" else "5",
        user=file.user or "",
        password=password,
        ca=_beside(base, file.ca),
        certificate=_beside(base, file.certificate),
        key=_beside(base, file.key),
        key_password=key_password,
        root=file.root,
        bench=file.bench or "",
        snapshot_s=file.snapshot_every,
        path=report.source.path,
    )


def broker_at(text: str, variables: Mapping[str, str] | None = None) -> Broker:
    """A broker by its URL alone: `mqtt://[USER@]HOST[:PORT][/ROOT]`; the password of a user in PASSWORD, if it is set.

    Raises FileFault.
    """
    url, why = _url(text)
    root = url.path.strip("/") or ROOT
    why = why or (f"the topic root {flaw}" if (flaw := root_flaw(root)) else "")
    if why:
        raise FileFault([Flaw("--broker", 0, 0, why)])
    known = os.environ if variables is None else variables
    secret = Secret("env", PASSWORD) if url.username and known.get(PASSWORD) else None
    tls = url.scheme == "mqtts"
    return Broker(
        url.hostname or "", url.port or PORTS[url.scheme], tls, user=url.username or "", password=secret, root=root
    )


def root_flaw(root: str) -> str:
    """Why a text cannot be the root of a topic tree; empty when it can. By MQTT 3.1.1 and 5, clauses 4.7.1 to 4.7.3."""
    if not root.isprintable() or len(root.encode("utf-8", "replace")) > 200:
        return "is longer than 200 bytes or has characters that cannot be printed on one line"
    if any(c in root for c in "+#"):
        return "has + or #, which are for filters"
    if root.startswith("$"):
        return "begins with $, which is the broker's"
    if not all(root.split("/")):
        return "has an empty level: a topic here neither begins nor ends with /, nor has two of them together"
    return ""


def _url(text: str) -> tuple[SplitResult, str]:
    """The parts of a URL, and why it is none of a broker. Never says what was found: it may hold a password."""
    form = "expected mqtt://HOST[:PORT] or mqtts://HOST[:PORT]"
    nothing = SplitResult("", "", "", "", "")
    try:
        url = urlsplit(text)
        port, password = url.port, url.password
    except ValueError:
        return nothing, f"no URL of a broker, {form}"
    if password is not None:
        return nothing, (
            "a password in a URL is seen by everybody who lists processes or reads the file: "
            f"name it under 'password' of a broker's file, or set {PASSWORD}"
        )
    if url.scheme not in PORTS or not url.hostname or port == 0 or not text.isprintable() or url.query or url.fragment:
        return nothing, f"no URL of a broker, {form}"
    return url, ""


def _secrets(report: QuietReport, file: BrokerFile) -> None:
    for name in SECRETS:
        row: SecretRow | None = getattr(file, name)
        if row is not None and (row.env is None) == (row.file is None):
            report.at((name,), NAMED)
    if file.password is not None and file.user is None:
        report.at(("password",), "a password without 'user'", key=True)


def _certificates(report: QuietReport, file: BrokerFile, tls: bool) -> None:
    for name in ("ca", "certificate", "key", "key_password"):
        if getattr(file, name) is not None and not tls:
            report.at(("url",), f"'{name}' is for mqtts://")
            return
    if file.key is not None and file.certificate is None:
        report.at(("key",), "a key without 'certificate'")
    if file.key_password is not None and file.certificate is None:
        report.at(("certificate",), "'key_password' is here without 'certificate'")


def _secret(row: SecretRow | None, base: File) -> Secret | None:
    if row is None:
        return None
    return Secret("env", row.env) if row.env is not None else Secret("file", _beside(base, row.file))


def _beside(base: File, path: str | None) -> str:
    return "" if path is None else str(base / File(path).expanduser())
