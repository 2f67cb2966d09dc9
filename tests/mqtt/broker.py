"""A small MQTT broker in the test's loop: versions 3.1.1 and 5, QoS 0 and 1, retained messages, last wills, TLS.

Written for tests by the two standards (OASIS MQTT 3.1.1 and 5.0, chapter 3: the packets), with what a test needs beyond
a real broker: every packet that came is kept, and it can be made to refuse, to fall silent and to die.
"""

import asyncio
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field

CONNECT, CONNACK, PUBLISH, PUBACK, SUBSCRIBE, SUBACK, UNSUBSCRIBE, UNSUBACK = 1, 2, 3, 4, 8, 9, 10, 11
PINGREQ, PINGRESP, DISCONNECT = 12, 13, 14
NAMES = {
    CONNECT: "CONNECT", PUBLISH: "PUBLISH", PUBACK: "PUBACK", SUBSCRIBE: "SUBSCRIBE", UNSUBSCRIBE: "UNSUBSCRIBE",
    PINGREQ: "PINGREQ", DISCONNECT: "DISCONNECT",
}  # fmt: skip
BAD_PASSWORD = {4: 4, 5: 0x86}
NOT_ALLOWED = 0x87


@dataclass(frozen=True, slots=True)
class Message:
    """A message as it was published."""

    topic: str
    payload: bytes
    qos: int
    retain: bool
    client: str = ""


@dataclass(frozen=True, slots=True)
class Packet:
    """A packet as it came from a client."""

    client: str
    kind: str


class _Reader:
    """The parts of a packet, one after the other."""

    def __init__(self, body: bytes) -> None:
        self.body, self.at = body, 0

    def take(self, count: int) -> bytes:
        self.at += count
        assert self.at <= len(self.body), "a packet is shorter than it says"
        return self.body[self.at - count : self.at]

    def whole(self, octets: int) -> int:
        return int.from_bytes(self.take(octets), "big")

    def data(self) -> bytes:
        return self.take(self.whole(2))

    def text(self) -> str:
        return self.data().decode()

    def properties(self, level: int) -> None:
        """Of version 5: skipped."""
        if level == 5:
            size, shift = 0, 0
            while True:
                octet = self.whole(1)
                size |= (octet & 0x7F) << shift
                shift += 7
                if not octet & 0x80:
                    break
            self.take(size)

    def rest(self) -> bytes:
        return self.body[self.at :]


@dataclass(eq=False)
class _Client:
    writer: asyncio.StreamWriter
    name: str = ""
    level: int = 4
    will: Message | None = None
    filters: dict[str, int] = field(default_factory=dict)
    next_id: int = 1
    task: "asyncio.Task[None] | None" = None

    def send(self, kind: int, body: bytes, flags: int = 0) -> None:
        size, head = len(body), bytearray([kind << 4 | flags])
        while True:
            size, octet = divmod(size, 128)
            head.append(octet | (0x80 if size else 0))
            if not size:
                break
        with suppress(OSError, RuntimeError):
            self.writer.write(bytes(head) + body)


@dataclass
class Broker:
    """What has come, what is kept, and how it behaves."""

    port: int = 0
    users: dict[str, str] = field(default_factory=dict)  # empty: everybody may come in
    refuses: str = ""  # topics that begin so are not taken (version 5 is told, 3.1.1 is not)
    throws_out: bool = False  # ends each connection at the first thing that is published
    mute: asyncio.Event = field(default_factory=asyncio.Event)  # set: it takes and says nothing any more
    packets: list[Packet] = field(default_factory=list)
    published: list[Message] = field(default_factory=list)
    wills: list[Message] = field(default_factory=list)
    retained: dict[str, Message] = field(default_factory=dict)
    logins: list[tuple[str, str, str | None]] = field(default_factory=list)  # client, user, password
    clients: "list[_Client]" = field(default_factory=list)
    tls: ssl.SSLContext | None = None
    _server: asyncio.Server | None = None

    async def start(self) -> None:
        """Listen, at the port where it has listened before."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", self.port, ssl=self.tls)
        self.port = self._server.sockets[0].getsockname()[1]

    async def stop(self) -> None:
        """Die: connections are torn, wills are not told, nothing is listened to. What is retained stays."""
        if self._server is not None:
            self._server.close()
            for client in self.clients:
                client.will = None
                client.writer.transport.abort()
                if client.task is not None:
                    client.task.cancel()
            await self._server.wait_closed()
            self._server = None
            while self.clients:  # noqa: ASYNC110 - they leave by themselves, one after the other
                await asyncio.sleep(0.001)

    def tear(self) -> None:
        """End all connections as a network would."""
        for client in tuple(self.clients):
            client.writer.transport.abort()

    def publish(self, message: Message) -> None:
        """What anybody might publish."""
        if message.retain:
            self.retained[message.topic] = message
            if not message.payload:
                del self.retained[message.topic]
        for client in self.clients:
            levels = [qos for at, qos in client.filters.items() if matches(at, message.topic)]
            if levels:
                self._deliver(client, message, min(max(levels), message.qos), retained=False)

    def topics(self) -> list[str]:
        """Of all that was published, in its order."""
        return [message.topic for message in self.published]

    async def until(self, test: object, limit_s: float = 10.0) -> None:
        """Wait for something; fails after limit_s."""
        assert callable(test)
        loop = asyncio.get_running_loop()
        end_s = loop.time() + limit_s
        while not test():
            assert loop.time() < end_s, f"it does not come: {self.topics()[-5:]}, {self.packets[-5:]}"
            await asyncio.sleep(0.005)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        client = _Client(writer, task=asyncio.current_task())
        self.clients.append(client)
        try:
            while True:
                head = (await reader.readexactly(1))[0]
                size = shift = 0
                while True:
                    octet = (await reader.readexactly(1))[0]
                    size |= (octet & 0x7F) << shift
                    shift += 7
                    if not octet & 0x80:
                        break
                body = await reader.readexactly(size)
                if self.mute.is_set():
                    await asyncio.sleep(3600)
                if not self._take(client, head >> 4, head & 0x0F, _Reader(body)):
                    break
        except (asyncio.IncompleteReadError, OSError, ssl.SSLError):
            pass
        except asyncio.CancelledError:
            client.will = None
        finally:
            self.clients.remove(client)
            if client.will is not None:
                self.wills.append(client.will)
                self.publish(client.will)
            writer.transport.abort()

    def _take(self, client: _Client, kind: int, flags: int, body: _Reader) -> bool:
        """One packet; False ends the connection."""
        if kind == CONNECT:
            welcome = self._connect(client, body)
            self.packets.append(Packet(client.name, "CONNECT"))
            return welcome
        self.packets.append(Packet(client.name, NAMES.get(kind, str(kind))))
        if kind == PUBLISH:
            return self._published(client, flags, body)
        if kind == SUBSCRIBE:
            self._subscribe(client, body)
        elif kind == PINGREQ:
            client.send(PINGRESP, b"")
        elif kind == DISCONNECT:
            client.will = None
            return False
        return True

    def _connect(self, client: _Client, body: _Reader) -> bool:
        assert body.text() == "MQTT"
        client.level = body.whole(1)
        flags = body.whole(1)
        body.take(2)
        body.properties(client.level)
        client.name = body.text()
        if flags & 0x04:
            body.properties(client.level)
            client.will = Message(body.text(), body.data(), flags >> 3 & 3, bool(flags & 0x20), client.name)
        user = body.text() if flags & 0x80 else ""
        password = body.text() if flags & 0x40 else None
        self.logins.append((client.name, user, password))
        good = not self.users or (user in self.users and self.users[user] == password)
        answer = bytes([0, 0 if good else BAD_PASSWORD[client.level]])
        client.send(CONNACK, answer + (b"\0" if client.level == 5 else b""))
        if not good:
            client.will = None
        for other in tuple(self.clients):  # whoever comes later by the same name is the one (MQTT-3.1.4-2)
            if other is not client and other.name == client.name:
                other.writer.transport.abort()
        return good

    def _published(self, client: _Client, flags: int, body: _Reader) -> bool:
        qos, topic = flags >> 1 & 3, body.text()
        number = body.take(2) if qos else b""
        body.properties(client.level)
        if self.throws_out:
            return False
        refused = bool(self.refuses) and topic.startswith(self.refuses)
        if qos:
            client.send(PUBACK, number + (bytes([NOT_ALLOWED, 0]) if refused and client.level == 5 else b""))
        if not refused:
            message = Message(topic, body.rest(), qos, bool(flags & 1), client.name)
            self.published.append(message)
            self.publish(message)
        return True

    def _subscribe(self, client: _Client, body: _Reader) -> None:
        number, codes, new = body.take(2), b"", []
        body.properties(client.level)
        while body.rest():
            at, options = body.text(), body.whole(1)
            client.filters[at] = options & 3
            codes += bytes([options & 3])
            new.append(at)
        client.send(SUBACK, number + (b"\0" if client.level == 5 else b"") + codes)
        for message in tuple(self.retained.values()):
            if any(matches(at, message.topic) for at in new):
                self._deliver(client, message, 0, retained=True)

    def _deliver(self, client: _Client, message: Message, qos: int, *, retained: bool) -> None:
        topic = message.topic.encode()
        body = len(topic).to_bytes(2, "big") + topic
        if qos:
            body += client.next_id.to_bytes(2, "big")
            client.next_id = client.next_id % 65535 + 1
        body += (b"\0" if client.level == 5 else b"") + message.payload
        client.send(PUBLISH, body, qos << 1 | retained)


def matches(at: str, topic: str) -> bool:
    """Whether a topic is one of a filter's (clause 4.7 of both standards)."""
    wanted, found = at.split("/"), topic.split("/")
    if wanted[-1] == "#":
        wanted, found = wanted[:-1], found[: len(wanted) - 1]
    return len(wanted) == len(found) and all(w in ("+", f) for w, f in zip(wanted, found, strict=True))


@asynccontextmanager
async def serving(**keys: object) -> AsyncIterator[Broker]:
    """A broker at work on loopback."""
    broker = Broker(**keys)  # type: ignore[arg-type]
    await broker.start()
    try:
        yield broker
    finally:
        await broker.stop()
