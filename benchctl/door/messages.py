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

from pydantic import BaseModel, Field, ValidationError
from pydantic_core import PydanticSerializationError

from benchctl.core.shown import Snapshot
from benchctl.door.flaws import flaws, short
from benchctl.door.keys import CONFIG, Digest, Line, Name, Token, Told, Whole
from benchctl.door.plates import InstrumentPlate, SourcePlate, UnitPlate

PROTOCOL = 3
STRANGERS_LINE = 4 << 10  # longest line in bytes from somebody who has not said hello
CLIENTS_LINE = 1 << 20
HOSTS_LINE = 16 << 20
EVENTS = 5000  # that a host remembers
RULE_SETS = 50  # by which a plan is judged at once

Role = Literal["console", "visitor"]
RefusedFor = Literal["secret", "version", "full", "message", "time"]


class MessageFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """A line is no message. str() says in a line what was found and what was expected."""


class VersionFault(MessageFault):
    """A line is of another version. found: which, or None when it names none."""

    def __init__(self, text: str, found: int | None) -> None:
        super().__init__(text)
        self.found = found


class Message(BaseModel):
    """A line: no unknown keys, no silent conversions, no numbers that are none."""

    model_config = CONFIG


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
    who: Annotated[Line, Field(max_length=100)] = ""
    why: Line = ""
    based_on: Whole | None = None


class RuleSetText(BaseModel):
    """A rule set as the client has it. ref: the name or path by which the program names it, or by which it was picked.

    sha256: of the text, as of a program.
    """

    model_config = CONFIG

    ref: Annotated[Line, Field(min_length=1)]
    text: str
    sha256: Digest


class Program(Message):
    """Judge a program, and choose it if it can be run. anyway: although the record may not fit on the disk.

    rule_sets: by which its plan is judged too. Those that the program names are kept in the record of its run; one that
    is named and did not come along is read by the host. choose: false = only judge it, whatever it is worth.

    Data: `feasible`, `refusals`, `warnings`, `lines`, `length_s`, `planned_peak_kw`, `unattended`, `sha256`; `legs`
    and `graph` to draw it, `findings` and `cautions` to read, `readings` that the operator will be asked for, and
    `verdicts` of each rule set (see controller/drawn.py); `barred`: why this client may not choose one, another has
    charge; and if it is chosen, `run` and `in_hand`.
    """

    kind: Literal["program"] = "program"
    id: Whole
    name: Name
    text: str
    sha256: Digest
    anyway: bool = False
    choose: bool = True
    rule_sets: Annotated[tuple[RuleSetText, ...], Field(max_length=RULE_SETS)] = ()


class Look(Message):
    """What is known of every device: the host's answer to `probe`."""

    kind: Literal["look"] = "look"
    id: Whole


class Registers(Message):
    """The words that were last read of a unit or instrument, block by block and point by point.

    Data: `name`, `number` (of the scan), `blocks` (`table`, `first`, `count`, `age_s` of the words or null, `ended`:
    how the newest read of it did), `rows` (`table`, `address`, `bit` or null, `words`, `name` or empty, `text`,
    `age_s`).
    """

    kind: Literal["registers"] = "registers"
    id: Whole
    unit: Name


class Past(Message):
    """The newest events since the host began, the oldest of them first. Data: `events`, each as in `event`."""

    kind: Literal["past"] = "past"
    id: Whole
    last: Annotated[int, Field(ge=1, le=EVENTS)] = 1000


class History(Message):
    """The bench from a moment of its time on, thinned out to at most so many points, whether a run is in hand or not.

    Data: `columns` and `rows`. Columns: now_s, target_kw, delivered_kw, source_kw, volts_v, hertz, hottest_c, amps_a,
    amps_b, amps_c; null is not known. A row is a scan as it was, none is a mean: one a second for the last hour, one in
    ten seconds for a day, one a minute for a week.
    """

    kind: Literal["history"] = "history"
    id: Whole
    since_s: float = 0.0
    points: Annotated[int, Field(ge=1, le=5000)] = 1000


class Inject(Message):
    """Of a rehearsal: let a fault of core/scenario.py begin now. for_s: of the bench's time; null = until `heal`.

    value: a text as in a scenario's file, `80 %`, or a number in the unit of the fault. Data: the fault as it began.
    """

    kind: Literal["inject"] = "inject"
    id: Whole
    fault: Name
    on: Name
    value: float | Line | None = None
    for_s: Annotated[float, Field(gt=0.0)] | None = None


class Heal(Message):
    """Of a rehearsal: let faults end that are in force, whether a client or the scenario began them. Data: `ended`."""

    kind: Literal["heal"] = "heal"
    id: Whole
    fault: Name
    on: Name


class Pace(Message):
    """Of a rehearsal: its time against real time from now on, null = as fast as it goes. Data: `speed`."""

    kind: Literal["pace"] = "pace"
    id: Whole
    speed: Annotated[float, Field(gt=0.0)] | None


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
    """The client is in. proof: the host knows the secret too. speed: times real time, None = as fast as it goes.

    run: path of the record in hand, or empty; runs: the folder of all. limits: by their names in core.site.Limits.
    attendance: who must be there, in words. console: what this client is called here, as a snapshot names it.
    """

    kind: Literal["welcome"] = "welcome"
    protocol: Whole = PROTOCOL
    proof: Token
    version: Name
    site: Name
    title: Line
    units: tuple[UnitPlate, ...]
    instruments: tuple[InstrumentPlate, ...]
    source: SourcePlate
    limits: dict[str, float]
    attendance: tuple[Told, ...]
    rehearsal: bool
    speed: float | None
    pid: Whole
    scan_period_s: float
    run: Told
    runs: Told
    console: Told


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


Request = Order | Program | Look | Registers | Past | History | Inject | Heal | Pace
REQUESTS: tuple[type[Request], ...] = (Order, Program, Look, Registers, Past, History, Inject, Heal, Pace)
FROM_CLIENT: tuple[type[Message], ...] = (Hello, *REQUESTS, Pong, Bye)
FROM_HOST: tuple[type[Message], ...] = (
    Challenge, Welcome, Refused, Shown, Event, Accepted, Rejected, Ping, Bye)  # fmt: skip
BEGINS = b'{"kind":"'
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
    kind = _first_kind(line)
    if kind not in kinds or kind in VERSIONED:
        kind = _looked_for(line, kinds)
    try:
        return kinds[kind].model_validate_json(line)
    except ValidationError as fault:
        raise MessageFault(f"{kind}: {'; '.join(flaws(fault))}") from None


def _first_kind(line: bytes) -> str:
    """The kind of a line that begins with it, as ours do: found without parsing a snapshot twice."""
    if not line.startswith(BEGINS):
        return ""
    return line[len(BEGINS) : line.find(b'"', len(BEGINS))].decode("ascii", "replace")


def _looked_for(line: bytes, kinds: dict[str, type[Message]]) -> str:
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):  # UnicodeDecodeError is a ValueError
        raise MessageFault(f"expected a JSON object, found {_shown(line)}") from None
    kind = found.get("kind") if isinstance(found, dict) else None
    if not isinstance(kind, str) or kind not in kinds:
        raise MessageFault(f"expected one of the kinds {', '.join(kinds)}, found {_shown(line)}")
    version = found.get("protocol")
    if kind in VERSIONED and version != PROTOCOL:
        whole = version if isinstance(version, int) else None
        raise VersionFault(f"speaks version {whole} of the messages, not {PROTOCOL}", whole)
    return kind


def _shown(line: bytes) -> str:
    return short(repr(line[:100].decode("utf-8", "backslashreplace")))
