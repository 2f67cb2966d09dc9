"""A client's end: attach with a card, ask for things, see every scan and event. Pings are answered by its own loop."""

import asyncio
import hashlib
import itertools
import time
from collections import deque
from collections.abc import AsyncIterator, Iterable
from typing import Any, Self, TypeVar

from benchctl import __version__
from benchctl.core.shown import Snapshot
from benchctl.door import messages as m
from benchctl.door.card import HOST, Card, remove_card
from benchctl.door.flaws import flaws, printable
from benchctl.door.proof import CLIENT, new_nonce, proof, proven
from benchctl.door.proof import HOST as HOSTS

GREET_S = 5.0  # for each line of the greeting
CUT_AGAIN_S = 0.02  # to the next try, when a host had no time for us: strangers may be crowding its port
REPLY_S = 15.0
KEPT = 5000  # changes that nobody has looked at yet
LATEST = -1

Change = Snapshot | m.Event
M = TypeVar("M", bound=m.Message)


class Refused(Exception):  # noqa: N818 - an answer, no failure
    """The run host does not let us in, or has not done what we asked. str() says why, in words for the operator."""


class Gone(Refused):
    """The card's run host is not there any more; its card has been removed."""


class Cut(Refused):
    """The run host has closed the connection before it has said anything that ends it."""


class Client:
    """Made by `connect`. Lives in the loop in which it was made."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, welcome: m.Welcome) -> None:
        self.welcome = welcome
        self.snapshot: Snapshot | None = None  # the newest
        self.lost = ""  # why the run host cannot be reached any more; empty while it can
        self._reader, self._writer = reader, writer
        self._ids = itertools.count(1)
        self._asked: dict[int, asyncio.Future[dict[str, Any]]] = {}
        self._changes: deque[Change] = deque(maxlen=KEPT)
        self._changed = asyncio.Event()
        self._heard_s = time.monotonic()
        self._listening = asyncio.get_running_loop().create_task(self._listen())

    @classmethod
    async def connect(cls, card: Card, who: str, role: m.Role, *, greet_s: float = GREET_S) -> Self:
        """Attach as `who`. Raises Refused; Gone when nobody with the card's secret listens at its port.

        greet_s: for each line of the greeting, and for trying again where the host cuts us off among others.
        """
        end_s = time.monotonic() + greet_s
        while True:
            try:
                return await cls._connect(card, who, role, greet_s)
            except Cut:
                if time.monotonic() >= end_s:
                    raise
            await asyncio.sleep(CUT_AGAIN_S)

    @classmethod
    async def _connect(cls, card: Card, who: str, role: m.Role, greet_s: float) -> Self:
        """One try. Raises Refused."""
        try:
            reader, writer = await asyncio.wait_for(
                asyncio.open_connection(HOST, card.port, limit=m.HOSTS_LINE), greet_s
            )
        except ConnectionRefusedError:
            remove_card(card)
            raise Gone(f"{card} is gone: nobody listens on its port {card.port}; its card is removed") from None
        except TimeoutError:
            raise Refused(f"{card} does not take connections; is the process stopped?") from None
        except OSError as fault:
            raise Refused(f"{card} cannot be reached: {fault.strerror or fault}") from None
        try:
            return cls(reader, writer, await _greet(reader, writer, card, who, role, greet_s))
        except BaseException:
            writer.transport.abort()
            raise

    # -- requests

    async def order(
        self,
        verb: str,
        value: float | None = None,
        *,
        text: str = "",
        unit: str = "",
        who: str = "",
        why: str = "",
        based_on: int | None = LATEST,
        reply_s: float = REPLY_S,
    ) -> dict[str, Any]:
        """Give a command (core.command.Verb); returns when a scan has obeyed it: "scan", its number. Raises Refused.

        based_on: number of the snapshot that was looked at; by default the newest that has come, None for none.
        """
        if based_on == LATEST:
            based_on = self.snapshot.number if self.snapshot else None
        return await self._ask(
            reply_s,
            m.Order,
            verb=verb,
            value=value,
            text=text,
            unit=unit,
            who=who,
            why=why,
            based_on=based_on,
        )

    async def program(
        self,
        name: str,
        text: str,
        *,
        anyway: bool = False,
        choose: bool = True,
        rule_sets: Iterable[tuple[str, str]] = (),
        reply_s: float = 60.0,
    ) -> dict[str, Any]:
        """Have a program judged and, if it can be run and is to be, chosen. Raises Refused.

        rule_sets: name or path, and text, of those by which its plan is judged too.
        """
        try:
            sent = tuple(m.RuleSetText(ref=ref, text=rules, sha256=_sha256(rules)) for ref, rules in rule_sets)
        except ValueError as fault:
            raise Refused(f"cannot be asked: {'; '.join(flaws(fault))}") from None
        more = {"anyway": anyway, "choose": choose, "rule_sets": sent}
        return await self._ask(reply_s, m.Program, name=name, text=text, sha256=_sha256(text), **more)

    async def look(self, *, reply_s: float = REPLY_S) -> dict[str, Any]:
        """What is known of every device. Raises Refused."""
        return await self._ask(reply_s, m.Look)

    async def registers(self, unit: str, *, reply_s: float = REPLY_S) -> dict[str, Any]:
        """The words last read of a unit or instrument, with what they mean. Raises Refused."""
        return await self._ask(reply_s, m.Registers, unit=unit)

    async def past(self, last: int = 1000, *, reply_s: float = REPLY_S) -> dict[str, Any]:
        """The newest events since the host began, the oldest of them first. Raises Refused."""
        return await self._ask(reply_s, m.Past, last=last)

    async def history(self, since_s: float = 0.0, points: int = 1000, *, reply_s: float = REPLY_S) -> dict[str, Any]:
        """The bench so far, `columns` and `rows`. Raises Refused."""
        return await self._ask(reply_s, m.History, since_s=since_s, points=points)

    async def inject(
        self,
        fault: str,
        on: str,
        value: float | str | None = None,
        for_s: float | None = None,
        *,
        reply_s: float = REPLY_S,
    ) -> dict[str, Any]:
        """Let a fault begin in a rehearsal, for so long or until it is healed. Raises Refused."""
        return await self._ask(reply_s, m.Inject, fault=fault, on=on, value=value, for_s=for_s)

    async def heal(self, fault: str, on: str, *, reply_s: float = REPLY_S) -> dict[str, Any]:
        """Let a fault end in a rehearsal. Raises Refused."""
        return await self._ask(reply_s, m.Heal, fault=fault, on=on)

    async def pace(self, speed: float | None, *, reply_s: float = REPLY_S) -> dict[str, Any]:
        """Set the pace of a rehearsal: times real time, None = as fast as it goes. Raises Refused."""
        return await self._ask(reply_s, m.Pace, speed=speed)

    async def _ask(self, reply_s: float, model: type[m.Message], **keys: Any) -> dict[str, Any]:
        if self.lost:
            raise Refused(self.lost)
        number = next(self._ids)
        try:
            line = m.encode(model.model_validate({"id": number, **keys}))
        except ValueError as fault:  # pydantic's ValidationError is one
            raise Refused(f"cannot be asked: {'; '.join(flaws(fault))}") from None
        if len(line) > m.CLIENTS_LINE:
            raise Refused(f"cannot be asked: {len(line)} bytes, at most {m.CLIENTS_LINE} are taken")
        answer = self._asked[number] = asyncio.get_running_loop().create_future()
        self._writer.write(line)
        try:
            return await asyncio.wait_for(answer, reply_s)
        except TimeoutError:
            raise Refused(f"the run host has not answered within {reply_s:g} s") from None
        finally:
            self._asked.pop(number, None)

    # -- what comes

    @property
    def quiet_s(self) -> float:
        """How long nothing has come from the run host; it pings each second."""
        return time.monotonic() - self._heard_s

    async def __aiter__(self) -> AsyncIterator[Change]:
        """Changes in their order until the run host is lost: every event, and of snapshots in a row the newest.

        For one consumer. When it falls far behind, the oldest changes are left out.
        """
        while True:
            while self._changes:
                yield self._changes.popleft()
            if self.lost:
                return
            self._changed.clear()
            await self._changed.wait()

    async def close(self) -> None:
        """Say goodbye and close; what was asked before is done all the same."""
        if not self.lost:
            self._writer.write(m.encode(m.Bye()))
            self._end("closed")
        self._listening.cancel()
        await asyncio.gather(self._listening, return_exceptions=True)
        self._writer.close()
        try:
            await asyncio.wait_for(self._writer.wait_closed(), 1.0)
        except (OSError, TimeoutError):
            self._writer.transport.abort()

    async def _listen(self) -> None:
        why = "the connection to the run host is lost"
        try:
            while line := await self._reader.readline():
                self._heard_s = time.monotonic()
                message = m.decode(line, m.HOST_KINDS)
                if isinstance(message, m.Bye):
                    why = f"the run host has ended: {message.why}"
                    break
                self._take(message)
        except OSError as fault:
            why = f"{why}: {fault.strerror or fault}"
        except (ValueError, m.MessageFault) as fault:  # ValueError: a line that is too long
            why = f"the run host says what is not understood: {fault}"
        self._end(why)
        self._writer.close()

    def _take(self, message: m.Message) -> None:
        match message:
            case m.Ping(n=n):
                self._writer.write(m.encode(m.Pong(n=n)))
            case m.Shown(snapshot=snapshot):
                self.snapshot = snapshot
                if self._changes and isinstance(self._changes[-1], Snapshot):
                    self._changes.pop()
                self._changes.append(snapshot)
                self._changed.set()
            case m.Event():
                self._changes.append(message)
                self._changed.set()
            case m.Accepted(id=number, data=data):
                self._settle(number, data)
            case m.Rejected(id=number, why=why):
                self._settle(number, Refused(why))

    def _settle(self, number: int, what: dict[str, Any] | Refused) -> None:
        answer = self._asked.pop(number, None)
        if answer is None or answer.done():
            return
        if isinstance(what, Refused):
            answer.set_exception(what)
        else:
            answer.set_result(what)

    def _end(self, why: str) -> None:
        """Nothing comes any more: let go of everybody who waits."""
        self.lost = self.lost or why
        for number in tuple(self._asked):
            self._settle(number, Refused(f"{self.lost}; whether it was done is not known"))
        self._changed.set()


async def _greet(
    reader: asyncio.StreamReader, writer: asyncio.StreamWriter, card: Card, who: str, role: m.Role, greet_s: float
) -> m.Welcome:
    """The greeting; nothing of the host is believed before it has proven the secret."""
    nonce = new_nonce()
    first = await _hear(reader, card, m.Challenge, greet_s)
    shown = proof(card.secret, CLIENT, first.nonce, nonce)
    try:
        hello = m.Hello(nonce=nonce, proof=shown, who=who, role=role, version=__version__)
    except ValueError as fault:
        raise Refused(f"cannot attach: {'; '.join(flaws(fault))}") from None
    writer.write(m.encode(hello))
    welcome = await _hear(reader, card, m.Welcome, greet_s)
    if not proven(welcome.proof, card.secret, HOSTS, first.nonce, nonce):
        raise _stranger(card)
    return welcome


async def _hear(reader: asyncio.StreamReader, card: Card, wanted: type[M], greet_s: float) -> M:
    """A line of the greeting. Raises Refused."""
    try:
        line = await asyncio.wait_for(reader.readline(), greet_s)
        if not line:  # a host that has no time for strangers does that too
            raise Cut(f"{card} has closed the connection without a word")
        found = m.decode(line, {m.kind_of(wanted): wanted, "refused": m.Refused})
    except TimeoutError:
        raise Refused(f"{card} has said nothing for {greet_s:g} s; is the process stopped?") from None
    except m.VersionFault as fault:
        other = "none" if fault.found is None else f"version {fault.found}"
        both = f"{other} of the messages, this program version {m.PROTOCOL}; use one version of benchctl for both"
        raise Refused(f"{card} speaks {both}") from None
    except OSError as fault:
        raise Cut(f"{card} has closed the connection: {fault.strerror or fault}") from None
    except (ValueError, m.MessageFault):  # ValueError: a line that is too long
        raise _stranger(card) from None
    if isinstance(found, wanted):
        return found
    if isinstance(found, m.Refused) and found.reason != "secret":
        raise Refused(f"{card} does not let us in: {printable(found.why)}")
    raise _stranger(card)


def _stranger(card: Card) -> Gone:
    remove_card(card)
    return Gone(f"{card} is gone: somebody else listens on its port {card.port}; its card is removed")


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
