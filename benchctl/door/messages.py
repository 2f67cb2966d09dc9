"""The messages between a run host and its clients: JSON lines over a loopback socket, each with a `kind`.

First the host sends `challenge`, the client answers `hello`, the host `welcome` or `refused`. Then the client sends
requests with an `id`, each answered by one `accepted` or `rejected` with that id, in no order, and a `pong` for each
`ping`; the host sends a `snapshot` a scan (a client that is slow gets fewer, always the newest) and every `event`.
Either side may say `bye`. Keys that are not known, values of another type and lines that are too long end the
connection. Whoever changes what a message is or means counts PROTOCOL up: other versions are told so and go.

`door/page.py` makes the whole of it into a table for people and a schema for machines.
"""

import json
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic_core import PydanticSerializationError

from benchctl.core.shown import Snapshot

PROTOCOL = 1
STRANGERS_LINE = 4 << 10  # longest line in bytes from somebody who has not said hello
CLIENTS_LINE = 1 << 20
HOSTS_LINE = 16 << 20
LARGEST = 2**53 - 1  # every JSON reader keeps whole numbers up to here

Role = Literal["console", "visitor"]
RefusedFor = Literal["secret", "version", "full", "message", "time"]


class MessageFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """A line is no message. str() says in a line what was found and what was expected."""


class VersionFault(MessageFault):
    """A line is of another version. found: which, or None when it names none."""

    def __init__(self, text: str, found: int | None) -> None:
        super().__init__(text)
        self.found = found


def _plain(text: str) -> str:
    if not text.isprintable():
        raise ValueError("has characters that cannot be printed on one line")
    return text


def _clean(text: object) -> object:
    """What a file's name on disk may hold, and no JSON text."""
    return text.encode("utf-8", "replace").decode() if isinstance(text, str) else text


Whole = Annotated[int, Field(ge=0, le=LARGEST)]
Name = Annotated[str, Field(min_length=1, max_length=100), AfterValidator(_plain)]
Line = Annotated[str, Field(max_length=1000), AfterValidator(_plain)]
Told = Annotated[str, BeforeValidator(_clean)]
Token = Annotated[str, Field(min_length=16, max_length=200, pattern=r"^[A-Za-z0-9_-]+$")]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Message(BaseModel):
    """A line: no unknown keys, no silent conversions, no numbers that are none."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)


# From a client


class Hello(Message):
    """Who comes in. proof: of the secret in the host's card, see `door/proof.py`; the secret itself is never sent."""

    kind: Literal["hello"] = "hello"
    protocol: Whole = PROTOCOL
    nonce: Token
    proof: Token
    who: Name
    role: Role
    version: Name


class Order(Message):
    """A command to the bench. based_on: number of the snapshot that whoever gives it has looked at.

    verb: a value of core.command.Verb. who: empty = who said hello. unit: a name, empty = none. text: of a start, the
    SHA-256 of the program that is meant, empty = whichever is chosen.
    """

    kind: Literal["order"] = "order"
    id: Whole
    verb: Name
    value: float | None = None
    text: Line = ""
    unit: Annotated[str, Field(max_length=100)] = ""
    who: Annotated[str, Field(max_length=100), AfterValidator(_plain)] = ""
    why: Line = ""
    based_on: Whole | None = None


class Program(Message):
    """Judge a program, and choose it if it can be run. anyway: although the record may not fit on the disk."""

    kind: Literal["program"] = "program"
    id: Whole
    name: Name
    text: str
    sha256: Digest
    anyway: bool = False


class Look(Message):
    """What is known of every device: the host's answer to `probe`."""

    kind: Literal["look"] = "look"
    id: Whole


class History(Message):
    """The run in hand from a moment of the bench's time on, thinned out to at most so many points."""

    kind: Literal["history"] = "history"
    id: Whole
    since_s: float = 0.0
    points: Annotated[int, Field(ge=1, le=5000)] = 1000


class Pong(Message):
    """The client's own loop has seen ping n."""

    kind: Literal["pong"] = "pong"
    n: Whole


# From the host


class Challenge(Message):
    """The first line of a connection."""

    kind: Literal["challenge"] = "challenge"
    protocol: Whole = PROTOCOL
    nonce: Token


class Welcome(Message):
    """The client is in. proof: the host knows the secret too. speed: times real time, None = as fast as it goes."""

    kind: Literal["welcome"] = "welcome"
    protocol: Whole = PROTOCOL
    proof: Token
    version: Name
    site: Name
    title: Line
    units: tuple[str, ...]
    rehearsal: bool
    speed: float | None
    pid: Whole
    scan_period_s: float
    run: Told


class Refused(Message):
    """The client is not let in. reason: one word for machines."""

    kind: Literal["refused"] = "refused"
    reason: RefusedFor
    why: Told


class Shown(Message):
    """One scan, see `core/shown.py`."""

    kind: Literal["snapshot"] = "snapshot"
    snapshot: Snapshot


class Event(Message):
    """Something that happened in scan `number`. what: a word for filters; unit: a name or empty; data: plain values."""

    kind: Literal["event"] = "event"
    number: Whole
    wall_s: float
    now_s: float = 0.0
    what: str
    text: Told
    unit: str = ""
    who: Told = ""
    data: dict[str, Any] = Field(default_factory=dict)


class Accepted(Message):
    """A request was done; data is what it brought."""

    kind: Literal["accepted"] = "accepted"
    id: Whole
    data: dict[str, Any] = Field(default_factory=dict)


class Rejected(Message):
    """A request was not done."""

    kind: Literal["rejected"] = "rejected"
    id: Whole
    why: Told


class Ping(Message):
    """Asks whether the client's loop is alive."""

    kind: Literal["ping"] = "ping"
    n: Whole


class Bye(Message):
    """The end, and why; from either side."""

    kind: Literal["bye"] = "bye"
    why: Told = ""


Request = Order | Program | Look | History
FROM_CLIENT: tuple[type[Message], ...] = (Hello, Order, Program, Look, History, Pong, Bye)
FROM_HOST: tuple[type[Message], ...] = (
    Challenge, Welcome, Refused, Shown, Event, Accepted, Rejected, Ping, Bye)  # fmt: skip
VERSIONED = ("hello", "challenge")  # lines by which two versions find out that they are two


def kind_of(model: type[Message]) -> str:
    return str(model.model_fields["kind"].default)


CLIENT_KINDS = {kind_of(m): m for m in FROM_CLIENT}
HOST_KINDS = {kind_of(m): m for m in FROM_HOST}


def encode(message: Message) -> bytes:
    """A message as a line."""
    try:
        return message.model_dump_json().encode() + b"\n"
    except PydanticSerializationError:  # data holds what is no JSON: better its text than no answer
        return json.dumps(message.model_dump(), default=str).encode() + b"\n"


def decode(line: bytes, kinds: dict[str, type[Message]]) -> Message:
    """A line as a message of these kinds. Raises MessageFault; VersionFault for a first line of another version."""
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):  # UnicodeDecodeError is a ValueError
        raise MessageFault(f"expected a JSON object, found {_shown(line)}") from None
    kind = found.get("kind") if isinstance(found, dict) else None
    model = kinds.get(kind) if isinstance(kind, str) else None
    if model is None:
        raise MessageFault(f"expected one of the kinds {', '.join(kinds)}, found {_shown(line)}")
    version = found.get("protocol")
    if kind in VERSIONED and version != PROTOCOL:
        whole = version if isinstance(version, int) else None
        raise VersionFault(f"speaks version {whole} of the messages, not {PROTOCOL}", whole)
    try:
        return model.model_validate_json(line)
    except ValidationError as fault:
        raise MessageFault(f"{kind}: {'; '.join(flaws(fault))}") from None


def _shown(line: bytes) -> str:
    return _short(repr(line[:100].decode("utf-8", "backslashreplace")))


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:60] + "…"


def printable(text: str) -> str:
    """A stranger's words for a terminal."""
    return "".join(c if c.isprintable() else "?" for c in text[:300])


def flaws(fault: ValueError) -> list[str]:
    """What is wrong with a message, each key in words; the first few of many. Takes a ValidationError."""
    if not isinstance(fault, ValidationError):
        return [str(fault)]
    told = []
    for error in fault.errors(include_url=False)[:5]:
        key = ".".join(str(part) for part in error["loc"])
        match error["type"]:
            case "missing":
                told.append(f"key {key!r} is missing")
            case "extra_forbidden":
                told.append(f"unknown key {_short(key)!r}")
            case _:
                says = error["msg"].removeprefix("Value error, ").lower()
                told.append(f"{key}: {says}, found {_short(repr(error['input']))}")
    return told
