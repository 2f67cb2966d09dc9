"""What was asked on one connection, what the device really said, and what the wire made of it.

It takes the bytes apart by itself, by the letter of the specification (Modbus Messaging on TCP/IP 1.0b, Application
Protocol 1.1b3), and knows nothing of the client that is judged by it.
"""

from dataclasses import dataclass, field
from struct import unpack_from

READ_BITS, READ_WORDS, WRITES = (1, 2), (3, 4), (5, 6, 15, 16)


@dataclass(slots=True)
class Asked:
    """One request: what it was, the device's own reply, and the first frame that came back under its name."""

    transaction: int
    unit_id: int
    pdu: bytes
    honest: bytes | None = None
    told: bytes | None = None
    told_s: float = 0.0
    before: int = 0  # load ordered at the device, before and after it
    after: int = 0
    function: int = field(init=False)
    first: int = field(init=False)
    count: int = field(init=False)
    _values: dict[bytes, list[int] | None] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.function, self.first, self.count = unpack_from(">BHH", self.pdu)

    @property
    def write(self) -> bool:
        return self.function in WRITES

    def values(self, reply: bytes | None) -> list[int] | None:
        """Registers or bits that a reply PDU to this read tells; None where it is no good reply."""
        if reply is None:
            return None
        if reply not in self._values:
            self._values[reply] = self._read(reply)
        return self._values[reply]

    def _read(self, reply: bytes) -> list[int] | None:
        bits = self.function in READ_BITS
        size = (self.count + 7) // 8 if bits else 2 * self.count
        if len(reply) != 2 + size or reply[:2] != bytes((self.function, size)):
            return None
        if not bits:
            return list(unpack_from(f">{self.count}H", reply, 2))
        whole = int.from_bytes(reply[2:], "little")
        return [whole >> i & 1 for i in range(self.count)]

    def acknowledged(self, reply: bytes | None) -> bool:
        """True when a reply PDU says that this write was done: all of a single one comes back, of others the range."""
        return reply == (self.pdu if self.function in (5, 6) else self.pdu[:5])


@dataclass(slots=True)
class Ledger:
    """One connection. The last request is the one under way; its first frame of the right name is its answer."""

    asked: list[Asked] = field(default_factory=list)
    _rest: bytes = b""
    _dead: bool = False  # a length that no frame has: what follows means nothing

    def ask(self, transaction: int, unit_id: int, pdu: bytes) -> Asked:
        """A request leaves."""
        self.asked.append(Asked(transaction, unit_id, pdu))
        return self.asked[-1]

    def arrive(self, data: bytes, at_s: float) -> None:
        """Bytes reach the client."""
        rest = self._rest + data
        while len(rest) >= 8 and not self._dead:
            transaction, protocol, length, unit_id = unpack_from(">HHHB", rest)
            if not 2 <= length <= 254:
                self._dead = True
                break
            end = 6 + length
            if length == 2 and len(rest) == 9 and not protocol:
                end = 9  # an exception whose length a device miscounts: our leniency, not the letter's
            if len(rest) < end:
                break
            frame, rest = rest[:end], rest[end:]
            if not protocol:
                self._take(transaction, unit_id, frame[7:], at_s)
        self._rest = rest

    def _take(self, transaction: int, unit_id: int, pdu: bytes, at_s: float) -> None:
        last = self.asked[-1] if self.asked else None
        if last and last.told is None and (transaction, unit_id) == (last.transaction, last.unit_id):
            last.told, last.told_s = pdu, at_s
