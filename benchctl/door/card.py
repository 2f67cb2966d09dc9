"""A run host's card: a file that only its user can read, with the port and the secret to come in.

On POSIX the folder is 0700 and a card 0600; a card that others can read or that is not ours is not used. On Windows the
access list of the user's profile is relied upon. A card is written whole or not at all. One whose port refuses belongs
to a host that is gone: it is told and removed, here; one on whose port a stranger listens shows when connecting.
"""

import contextlib
import os
import secrets
import socket
import stat
from collections.abc import Callable
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from benchctl.door.messages import PROTOCOL
from benchctl.folders import FolderFault, refuse_shared

HOST = "127.0.0.1"
FOLDER = "hosts"  # in the user's state folder: there controllers leave their cards
CARD_NAME = "{pid}-{port}.json"
TRY_S = 3.0  # a refusal takes two seconds on Windows, nothing elsewhere: from memory
LARGEST_BYTES = 1 << 16

Tell = Callable[[str], None]


class CardFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """Cards cannot be kept in a folder. str() is one line that names it and what was found."""


class Card(BaseModel):
    """Where a run host is. path: of the file it was read from; started_wall_s: seconds since 1970, UTC."""

    model_config = ConfigDict(strict=True, frozen=True)  # keys of other versions are left alone: the greeting tells

    protocol: int = PROTOCOL
    site: str = Field(min_length=1)
    site_sha256: str
    rehearsal: bool
    pid: int
    port: int = Field(ge=1, le=65535)
    secret: str = Field(min_length=32, repr=False)
    started_wall_s: float
    path: Path | None = Field(default=None, exclude=True)

    def __str__(self) -> str:
        """In words."""
        return f"run host{' of the rehearsal' if self.rehearsal else ''} for {self.site} (process {self.pid})"


def write_card(folder: Path, card: Card) -> Card:
    """Put a card into a folder, which is made private if need be; returns it with its path. Raises CardFault."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        refuse_shared(folder)
        if os.name == "posix":
            folder.chmod(0o700)
        path = folder / CARD_NAME.format(pid=card.pid, port=card.port)
        fresh = folder / f".{path.name}.{secrets.token_hex(4)}"
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(card.model_dump_json(indent=1).encode())
            fresh.replace(path)
        except BaseException:
            fresh.unlink(missing_ok=True)
            raise
    except FolderFault as fault:
        raise CardFault(str(fault)) from None
    except OSError as fault:
        raise CardFault(f"{folder}: no card can be written: {fault.strerror or fault}") from None
    return card.model_copy(update={"path": path})


def read_cards(folder: Path, tell: Tell = lambda _: None) -> list[Card]:
    """Cards of hosts that are there, the newest first; what is wrong with the others is told.

    Raises CardFault when the folder is shared with others or cannot be read.
    """
    try:
        paths = sorted(folder.glob("*.json"))
        if paths:
            refuse_shared(folder)
    except FolderFault as fault:
        raise CardFault(str(fault)) from None
    except OSError as fault:
        raise CardFault(f"{folder}: cannot be read: {fault.strerror or fault}") from None
    found = [card for path in paths if (card := _read(path, tell)) is not None]
    live = [card for card in found if _listened_to(card, tell)]
    return sorted(live, key=lambda card: card.started_wall_s, reverse=True)


def find_card(folder: Path, site: str, rehearsal: bool, tell: Tell = lambda _: None) -> Card | None:
    """The newest card of a site's run host, or of its rehearsal's. Raises CardFault."""
    return next((c for c in read_cards(folder, tell) if (c.site, c.rehearsal) == (site, rehearsal)), None)


def has_card(folder: Path, pid: int) -> bool:
    """Whether a process has put a card there. Nobody is connected to for it. Never raises."""
    return any(folder.glob(CARD_NAME.format(pid=pid, port="*")))


def remove_card(card: Card) -> None:
    """Take a card away, if it is still the same one. Never raises."""
    if card.path is None:
        return
    with contextlib.suppress(OSError, ValidationError):
        if Card.model_validate_json(card.path.read_bytes()).secret == card.secret:
            card.path.unlink(missing_ok=True)


def _read(path: Path, tell: Tell) -> Card | None:
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
        try:
            flaw = _exposed(os.fstat(handle))
            if flaw:
                tell(f"{path}: {flaw}: not used")
                return None
            text = os.read(handle, LARGEST_BYTES)
        finally:
            os.close(handle)
        return Card.model_validate_json(text).model_copy(update={"path": path})
    except FileNotFoundError:  # its host has just taken it away
        return None
    except OSError as fault:
        tell(f"{path}: cannot be read: {fault.strerror or fault}")
    except ValidationError:
        tell(f"{path}: is not the card of a run host")
    return None


def _exposed(found: os.stat_result) -> str:
    """What is wrong with who may read a card, or with what it is: a pipe would be waited for."""
    if not stat.S_ISREG(found.st_mode):
        return "is no file"
    if os.name != "posix":
        return ""
    if found.st_uid != os.geteuid():
        return f"belongs to user {found.st_uid}, not to you"
    mode = stat.S_IMODE(found.st_mode)
    return f"others can read or change it (mode {mode:03o}, expected 600)" if mode & 0o077 else ""


def _listened_to(card: Card, tell: Tell) -> bool:
    """Whether anybody listens on the port; a card on whose port nobody does is removed."""
    try:
        with socket.create_connection((HOST, card.port), timeout=TRY_S) as tried:
            if tried.getsockname() != tried.getpeername():  # a free port may be connected to itself
                return True
    except ConnectionRefusedError:
        pass
    except OSError:  # it may only be busy
        return True
    tell(f"{card} is gone: nobody listens on port {card.port} any more; its card is removed")
    remove_card(card)
    return False
