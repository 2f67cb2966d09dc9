"""One owner: whoever talks to units first claims their endpoints, so that no two processes order one unit about.

A claim is a locked file for each address of an endpoint (not for a site file: two files may name one unit). The
operating system keeps the lock and frees it when its holder dies, however it dies. Beside it lies a note for people:
who holds it. A note whose lock is free is stale and means nothing. Locks are those of one user on one computer; what
another computer does shows in the units themselves.
"""

import errno
import hashlib
import ipaddress
import json
import os
import re
import socket
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from filelock import FileLock, Timeout

from benchctl.core.site import Endpoint, Instrument, Site, Unit
from benchctl.folders import FolderFault, refuse_shared, state_folder

FOLDER = "claims"  # in the user's state folder
RESOLVE_S = 5.0  # a computer without a name server must not wait for one for long
NOTE_TRIES, NOTE_WAIT_S = 5, 0.02  # between a lock and its note there is a moment

Resolve = Callable[[str], Iterable[str]]


@dataclass(frozen=True, slots=True)
class Holder:
    """Who holds an endpoint. since: ISO 8601 with offset. site: empty when it was claimed without a site file."""

    pid: int
    verb: str
    site: str
    since: str

    def __str__(self) -> str:
        """In words, with the date when it is not today's."""
        since = datetime.fromisoformat(self.since)
        form = "%H:%M" if since.date() == datetime.now(since.tzinfo).date() else "%Y-%m-%d %H:%M"
        place = f" for {self.site}" if self.site else ""
        return f"`benchctl {self.verb}`{place} (process {self.pid}, since {since:{form}})"


class ClaimFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """An endpoint is held, or cannot be claimed. str() is one line. holder: None when nobody has said who it is."""

    def __init__(self, text: str, holder: Holder | None = None) -> None:
        super().__init__(text)
        self.holder = holder


class Claim:
    """Endpoints that are ours until `release`, the end of a `with`, or the end of the process."""

    def __init__(self) -> None:
        self._held: list[tuple[FileLock, Path]] = []

    def release(self) -> None:
        """Let go of all. May be called twice, and from any thread."""
        while self._held:
            lock, note = self._held.pop()
            with suppress(OSError):  # while it is locked nobody else's note can be there
                note.unlink(missing_ok=True)
            with suppress(OSError):
                lock.release()

    def __enter__(self) -> Self:
        """Itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Release."""
        self.release()


def endpoints(site: Site) -> dict[Endpoint, str]:
    """Endpoints of a site with the names of the devices behind each."""
    named: dict[Endpoint, str] = {}
    devices: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
    for device in devices:
        behind = named.get(device.endpoint)
        named[device.endpoint] = f"{behind}, {device.name}" if behind else device.name
    return named


def resolve(host: str) -> list[str]:
    """Addresses of a host. Raises OSError, UnicodeError."""
    return [str(found[4][0]) for found in socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)]


def claim(
    named: Mapping[Endpoint, str],
    verb: str,
    site: str = "",
    folder: Path | None = None,
    *,
    look_up: Resolve = resolve,
    resolve_s: float = RESOLVE_S,
) -> Claim:
    """Claim all of the endpoints, or none.

    named: each endpoint with what people call the devices behind it. verb, site: told to whoever comes second.
    folder: of the locks; by default in the user's state folder. Names of hosts are looked up for at most resolve_s.
    Raises ClaimFault when one of them is held, by this process too, or cannot be locked.
    """
    ours = Claim()
    note = json.dumps(
        asdict(Holder(os.getpid(), verb, site, datetime.now().astimezone().isoformat(timespec="seconds")))
    )
    try:
        place = _private(folder)
        for stem, endpoint in sorted(_stems(named, look_up, resolve_s).items()):  # in one order: of two, one gets all
            _take(ours, place / stem, _called(endpoint, named[endpoint]), note)
    except BaseException:
        ours.release()
        raise
    return ours


def _private(folder: Path | None) -> Path:
    try:
        place = state_folder() / FOLDER if folder is None else folder
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
        refuse_shared(place)
    except FolderFault as fault:
        raise ClaimFault(str(fault)) from None
    except OSError as fault:
        raise ClaimFault(f"{folder}: cannot be used: {fault.strerror or fault}") from None
    return place


def _take(ours: Claim, stem: Path, called: str, note: str) -> None:
    """Lock one address."""
    told = stem.with_name(stem.name + ".json")
    lock = FileLock(
        stem.with_name(stem.name + ".lock"),
        timeout=0,
        mode=0o600,
        thread_local=False,
        fallback_to_soft=False,  # a mere file in place of a lock would outlive a holder that is killed
    )
    try:
        lock.acquire()
    except Timeout:
        holder = _holder(told)
        raise ClaimFault(f"{called} is held by {holder or 'another process'}", holder) from None
    except OSError as fault:
        if fault.errno == errno.ENOSYS:
            raise ClaimFault(f"{called} cannot be claimed: the file system of {stem.parent} has no locks") from None
        raise ClaimFault(f"{called} cannot be claimed: {lock.lock_file}: {fault.strerror or fault}") from None
    ours._held.append((lock, told))
    with suppress(OSError):  # on a full disk the lock holds all the same, only nobody can say whose it is
        told.unlink(missing_ok=True)
        fresh = told.with_name(told.name + ".new")
        fresh.write_text(note, encoding="utf-8")
        fresh.replace(told)


def _holder(told: Path) -> Holder | None:
    """Who says that he holds it."""
    for _ in range(NOTE_TRIES):
        try:
            kept = json.loads(told.read_text(encoding="utf-8"))
            holder = Holder(int(kept["pid"]), str(kept["verb"]), str(kept["site"]), str(kept["since"]))
            str(holder)
        except (OSError, ValueError, KeyError, TypeError):
            time.sleep(NOTE_WAIT_S)
        else:
            return holder
    return None


def _called(endpoint: Endpoint, names: str) -> str:
    host = f"[{endpoint.host}]" if ":" in endpoint.host else endpoint.host
    return f"{host}:{endpoint.port} ({names})" if names else f"{host}:{endpoint.port}"


# -- which files


def _stems(named: Iterable[Endpoint], look_up: Resolve, resolve_s: float) -> dict[str, Endpoint]:
    """Stem of a lock's file -> endpoint: one for each address of its host, and one for the name.

    The name has its own for times when it can be looked up for one claimant and not for another.
    """
    known = list(named)
    addresses = _addresses({e.host for e in known}, look_up, resolve_s)
    stems: dict[str, Endpoint] = {}
    for endpoint in known:
        for host in sorted({_literal(endpoint.host), *addresses[endpoint.host]}):
            whole = f"{host} {endpoint.port}"
            readable = re.sub(r"[^A-Za-z0-9.-]", "_", host)[:60]
            stems.setdefault(f"{readable}-{endpoint.port}-{hashlib.sha256(whole.encode()).hexdigest()[:12]}", endpoint)
    return stems


def _addresses(hosts: Iterable[str], look_up: Resolve, resolve_s: float) -> dict[str, set[str]]:
    """Every host's addresses, as far as they are found in time."""
    found: dict[str, set[str]] = {host: set() for host in hosts}

    def ask(host: str) -> None:
        with suppress(OSError, UnicodeError):
            found[host] = {_literal(address) for address in look_up(host)}

    threads = [threading.Thread(target=ask, args=(host,), daemon=True) for host in found if not _is_address(host)]
    for thread in threads:
        thread.start()
    end = time.monotonic() + resolve_s
    for thread in threads:
        thread.join(max(0.0, end - time.monotonic()))
    return dict(found)


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def _literal(host: str) -> str:
    """A host in its one spelling: fe80::1, not FE80:0::1; 10.0.0.7, not ::ffff:10.0.0.7; a name in lower case."""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host.rstrip(".").casefold()
    mapped = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
    return str(mapped or address)
