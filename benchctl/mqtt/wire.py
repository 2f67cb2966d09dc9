"""The connection to a broker; the only file with aiomqtt. What goes out cannot take in, and the reverse.

A connection is used once: what becomes of it later is a new one. Nothing here says what a secret is: faults name the
place where it was looked for.
"""

import asyncio
import logging
import secrets
import socket
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import aiomqtt
from aiomqtt.exceptions import MqttCodeError, MqttConnectError
from paho.mqtt.client import error_string
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode

from benchctl.files.broker import Broker, SecretFault

KEEPALIVE_S = 15  # a broker misses a client after one and a half of it, and a handshake of TLS may take as long
ANSWER_S = 10.0
REFUSED = 0x80  # reason codes of MQTT 5 from here on are failures
BROKE = "the connection broke"
BREAKS = (MQTTErrorCode.MQTT_ERR_NO_CONN, MQTTErrorCode.MQTT_ERR_CONN_LOST)
VERSIONS = {"3.1.1": aiomqtt.ProtocolVersion.V311, "5": aiomqtt.ProtocolVersion.V5}


class WireFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """A broker cannot be reached, refuses us, or is gone. str() is a line without any secret."""


@dataclass(frozen=True, slots=True)
class Post:
    """One message to be published."""

    topic: str
    payload: bytes
    qos: int
    retain: bool


@dataclass(frozen=True, slots=True)
class Came:
    """One message that has come. retained: it was kept by the broker, and may be of any age."""

    topic: str
    payload: bytes
    retained: bool


class Outgoing:
    """A connection that can only publish."""

    def __init__(self, client: aiomqtt.Client, refusals: list[str]) -> None:
        self._client, self._refusals = client, refusals

    async def publish(self, post: Post) -> None:
        """Hand a message over; at QoS 1 wait until the broker has it. Raises WireFault."""
        sending = asyncio.ensure_future(self._client.publish(post.topic, post.payload, post.qos, post.retain))
        try:
            await asyncio.wait((sending, self.gone), return_when=asyncio.FIRST_COMPLETED)
            if not sending.done():  # the library would go on waiting for an answer
                raise WireFault(BROKE)
            sending.result()
        except (aiomqtt.MqttError, ValueError, RuntimeError) as fault:
            raise WireFault(_said(fault)) from None
        finally:
            sending.cancel()

    def refusals(self) -> set[str]:
        """Why the broker has not taken what was published (only MQTT 5 says so); each is told once."""
        return {self._refusals.pop() for _ in range(len(self._refusals))}

    @property
    def gone(self) -> "asyncio.Future[None]":
        """Done as soon as the connection has ended. Not to be cancelled."""
        return self._client._disconnected


class Incoming:
    """A connection that can only listen."""

    def __init__(self, client: aiomqtt.Client) -> None:
        self._client = client

    async def subscribe(self, topics: str) -> None:
        """Ask for what matches a filter. Raises WireFault."""
        try:
            codes = await self._client.subscribe(topics, qos=1)
        except (aiomqtt.MqttError, ValueError) as fault:
            raise WireFault(_said(fault)) from None
        code: Any = codes[0]
        if getattr(code, "value", code) >= REFUSED:
            raise WireFault(f"the broker does not let us listen to {topics}")

    async def messages(self) -> AsyncIterator[Came]:
        """What comes, until the connection ends. Raises WireFault."""
        try:
            async for message in self._client.messages:
                payload = message.payload
                yield Came(str(message.topic), payload if isinstance(payload, bytes) else b"", message.retain)
        except aiomqtt.MqttError as fault:
            raise WireFault(_said(fault)) from None


@asynccontextmanager
async def outgoing(broker: Broker, will: Post) -> AsyncIterator[Outgoing]:
    """A connection to publish by; `will` is what the broker says of us when it misses us. Raises WireFault."""
    last = aiomqtt.Will(will.topic, will.payload, will.qos, will.retain)
    refusals: list[str] = []
    async with _connected(broker, last, refusals) as client:
        yield Outgoing(client, refusals)


@asynccontextmanager
async def incoming(broker: Broker, most: int = 10_000) -> AsyncIterator[Incoming]:
    """A connection to listen by; of more than `most` messages that wait the newer ones are lost. Raises WireFault."""
    async with _connected(broker, None, [], most) as client:
        yield Incoming(client)


@asynccontextmanager
async def _connected(
    broker: Broker, will: aiomqtt.Will | None, refusals: list[str], most: int = 0
) -> AsyncIterator[aiomqtt.Client]:
    password, context = await asyncio.to_thread(_keys, broker)  # reads files
    ear = _Ear()
    client = aiomqtt.Client(
        broker.host,
        broker.port,
        username=broker.user or None,
        password=password,
        identifier=client_id(),
        protocol=VERSIONS[broker.protocol],
        will=will,
        timeout=ANSWER_S,
        keepalive=KEEPALIVE_S,
        max_queued_incoming_messages=most,
        tls_context=context,
        logger=ear.logger,
    )
    _note_early_end(client)
    _note_refusals(client, refusals)
    try:
        await client.__aenter__()
    except (aiomqtt.MqttError, ValueError, UnicodeError) as fault:
        _cut(client)
        raise WireFault(f"{broker}: {_said(fault)}{f' ({ear.last})' if ear.last else ''}") from None
    except BaseException:
        _cut(client)
        raise
    try:
        yield client
        with suppress(aiomqtt.MqttError):
            await client.__aexit__(None, None, None)  # says that we go, so that the broker does not publish our will
    finally:
        _cut(client)


def _keys(broker: Broker) -> tuple[str | None, ssl.SSLContext | None]:
    """The password and what TLS needs. Raises WireFault."""
    try:
        return broker.password.read() if broker.password else None, _tls(broker) if broker.tls else None
    except SecretFault as fault:
        raise WireFault(str(fault)) from None


def client_id() -> str:
    """Of one connection, unlike every other's: 22 letters and digits, which every broker must take (MQTT-3.1.3-5)."""
    return f"bc{secrets.token_hex(10)}"


def _tls(broker: Broker) -> ssl.SSLContext:
    """TLS by the given authority or the system's, the broker's name checked. Raises WireFault, SecretFault."""
    try:
        context = ssl.create_default_context(cafile=broker.ca or None)
    except (OSError, ssl.SSLError) as fault:
        raise WireFault(f"{broker.ca}: no certificate of an authority: {_said(fault)}") from None
    if broker.certificate:
        secret = broker.key_password.read() if broker.key_password else ""
        try:
            context.load_cert_chain(broker.certificate, broker.key or None, secret)
        except (OSError, ssl.SSLError) as fault:
            named = " and ".join(Path(p).name for p in (broker.certificate, broker.key) if p)
            raise WireFault(f"our certificate ({named}) cannot be used: {_said(fault)}") from None
    return context


class _Ear(logging.Handler):
    """What the library would log, which nobody asks for: only the last error, for whoever is told of the failure."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.last = ""
        self.logger = logging.Logger("broker", logging.ERROR)  # noqa: LOG001 - one that passes nothing on to others
        self.logger.addHandler(self)

    def emit(self, record: logging.LogRecord) -> None:
        """Keep it."""
        self.last = record.getMessage()[:200]


def _note_early_end(client: aiomqtt.Client) -> None:
    """Let a connection fail that ends before the broker has answered; the library would wait for the answer."""
    paho = client._client
    passed_on: Any = paho.on_disconnect

    def gone(inner: Any, data: Any, flags: Any, code: ReasonCode, properties: Any) -> None:
        if not client._connected.done():
            client._connected.set_exception(MqttCodeError(code, "ended while connecting"))
        else:
            passed_on(inner, data, flags, code, properties)

    paho.on_disconnect = gone


def _note_refusals(client: aiomqtt.Client, refusals: list[str]) -> None:
    """Keep what a broker of MQTT 5 says of messages that it does not take; the library drops it."""
    paho = client._client
    passed_on: Any = paho.on_publish
    seen: set[str] = set()

    def published(inner: Any, data: Any, mid: int, code: ReasonCode, properties: Any) -> None:
        if code.value >= REFUSED and str(code) not in seen:
            seen.add(str(code))
            refusals.append(str(code))
        passed_on(inner, data, mid, code, properties)

    paho.on_publish = published


def _cut(client: aiomqtt.Client) -> None:
    """End the socket whatever the broker does: one that is stopped would keep it for ever, and the library with it."""
    found = client._client.socket()
    with suppress(OSError, AttributeError, ValueError):
        found.shutdown(socket.SHUT_RDWR)  # type: ignore[union-attr]
    with suppress(OSError, ValueError):
        client._client.loop_read()  # sees the end, takes it out of the loop and closes it
    if client._disconnected.done() and not client._disconnected.cancelled():
        client._disconnected.exception()  # asked for, or it would be told as one that nobody has


def _said(fault: BaseException) -> str:
    """What is wrong, in a line."""
    if isinstance(fault, MqttConnectError):
        return f"the broker refuses us: {str(fault).partition('] ')[2] or fault.rc}"
    cause = fault.__cause__ if isinstance(fault.__cause__, MqttCodeError) else fault
    if isinstance(cause, MqttCodeError) and isinstance(cause.rc, int):
        return BROKE if cause.rc in BREAKS else error_string(MQTTErrorCode(cause.rc))
    if isinstance(cause, MqttCodeError):
        return BROKE if str(cause.rc) == "Unspecified error" else f"the broker says: {cause.rc}"
    text = " ".join(str(fault).split()) or type(fault).__name__
    return text if len(text) <= 200 else text[:200] + "…"
