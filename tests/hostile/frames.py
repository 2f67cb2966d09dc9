"""What a bad wire makes of replies: one frame in, pieces and times out, all of it drawn from a seed.

Frames: Modbus Messaging on TCP/IP 1.0b, from memory: transaction 2 bytes, protocol 2, length 2, unit 1, then the PDU.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random

Parts = list[tuple[bytes, float]]  # bytes, and seconds after the moment at which the honest reply would arrive
HEADER = 7
KEPT = 32  # earlier replies that may come again


@dataclass(slots=True)
class Past:
    """What one connection has carried, and what is held back on it."""

    frames: list[bytes] = field(default_factory=list)
    held: bytes = b""
    others: list[bytes] = field(default_factory=list)  # replies on all connections


Kind = Callable[[bytes, Random, Past], Parts]
CLOSE = b""  # an empty piece: the connection ends here


def with_length(reply: bytes) -> bytes:
    """The frame with the length that it really has."""
    return reply[:4] + (len(reply) - 6).to_bytes(2, "big") + reply[6:]


def _late_s(rng: Random) -> float:
    return rng.choice((0.0, 0.001, 0.02, 0.1, 0.4, 1.5, 4.0)) * rng.random()


def _put(reply: bytes, place: int, new: bytes) -> bytes:
    return reply[:place] + new + reply[place + len(new) :]


def _bit(reply: bytes, rng: Random, past: Past) -> Parts:
    place = rng.randrange(len(reply))
    return [(_put(reply, place, bytes([reply[place] ^ 1 << rng.randrange(8)])), 0.0)]


def _bytes(reply: bytes, rng: Random, past: Past) -> Parts:
    for _ in range(rng.randint(1, 4)):
        reply = _put(reply, rng.randrange(len(reply)), bytes([rng.randrange(256)]))
    return [(reply, 0.0)]


def _data(reply: bytes, rng: Random, past: Past) -> Parts:
    """Only what a value is made of: Modbus TCP has no check that could show it."""
    place = rng.randrange(min(HEADER + 2, len(reply) - 1), len(reply))
    return [(_put(reply, place, bytes([reply[place] ^ 1 + rng.randrange(255)])), 0.0)]


def _header(reply: bytes, rng: Random, past: Past) -> Parts:
    place, old = rng.choice((0, 2, 4)), int.from_bytes(reply[:2], "big")
    length = len(reply) - 6
    value = {
        0: rng.choice((0, old - 1, old + 1, rng.randrange(1 << 16))),
        2: rng.choice((1, 0x100, rng.randrange(1 << 16))),
        4: rng.choice((0, 1, 2, length - 1, length + 1, 254, 255, 0xFFFF)),
    }[place]
    return [(_put(reply, place, (value & 0xFFFF).to_bytes(2, "big")), 0.0)]


def _unit(reply: bytes, rng: Random, past: Past) -> Parts:
    return [(_put(reply, 6, bytes([rng.choice((0, 255, reply[6] ^ 1, rng.randrange(256)))])), 0.0)]


def _function(reply: bytes, rng: Random, past: Past) -> Parts:
    new = rng.choice((reply[HEADER] ^ 0x80, 1, 2, 3, 4, 5, 6, 15, 16, 0x2B, rng.randrange(256)))
    return [(_put(reply, HEADER, bytes([new])), 0.0)]


def _refusal(reply: bytes, rng: Random, past: Past) -> Parts:
    """An exception reply, sometimes under the length of a device that miscounts it."""
    code = rng.choice((0, 1, 2, 2, 3, 4, 5, 6, 10, 11, rng.randrange(256)))
    made = with_length(reply[:HEADER] + bytes([reply[HEADER] | 0x80, code]))
    return [(_put(made, 4, b"\0\2") if rng.random() < 0.2 else made, 0.0)]


def _count(reply: bytes, rng: Random, past: Past) -> Parts:
    new = rng.choice((0, 1, reply[HEADER + 1] ^ 1, 250, 255, rng.randrange(256)))
    return [(_put(reply, HEADER + 1, bytes([new])), 0.0)]


def _truncated(reply: bytes, rng: Random, past: Past) -> Parts:
    return [(reply[: rng.randrange(1, len(reply))], 0.0)]


def _shortened(reply: bytes, rng: Random, past: Past) -> Parts:
    return [(with_length(reply[: rng.randrange(HEADER + 1, len(reply))]), 0.0)]


def _lengthened(reply: bytes, rng: Random, past: Past) -> Parts:
    return [(with_length(reply + rng.randbytes(rng.randint(1, 6))), 0.0)]


def _trailed(reply: bytes, rng: Random, past: Past) -> Parts:
    return [(reply + rng.randbytes(rng.randint(1, 12)), 0.0)]


def _split(reply: bytes, rng: Random, past: Past) -> Parts:
    cuts = sorted(rng.sample(range(1, len(reply)), min(rng.randint(1, 3), len(reply) - 1)))
    pieces = [reply[a:b] for a, b in zip((0, *cuts), (*cuts, len(reply)), strict=True)]
    step_s = rng.choice((0.0, 0.001, 0.03, 0.2))
    return [(piece, k * step_s) for k, piece in enumerate(pieces)]


def _byte_by_byte(reply: bytes, rng: Random, past: Past) -> Parts:
    step_s = rng.choice((0.0, 0.0005))
    return [(reply[k : k + 1], k * step_s) for k in range(len(reply))]


def _held(reply: bytes, rng: Random, past: Past) -> Parts:
    """Nothing now: it comes in one piece with the next, before it (merged) or after it (reordered)."""
    past.held += reply
    return []


def _delayed(reply: bytes, rng: Random, past: Past) -> Parts:
    return [(reply, _late_s(rng))]


def _doubled(reply: bytes, rng: Random, past: Past) -> Parts:
    return [(reply, 0.0), (reply, _late_s(rng))] if rng.random() < 0.7 else [(reply + reply, 0.0)]


def _again(reply: bytes, rng: Random, past: Past) -> Parts:
    """An earlier reply comes once more, before today's or instead of it."""
    old = rng.choice(past.frames)
    return [(old, 0.0), (reply, _late_s(rng))] if rng.random() < 0.7 else [(old, 0.0)]


def _forged(reply: bytes, rng: Random, past: Past) -> Parts:
    """An earlier reply, or one of another connection, under the transaction and unit of today's."""
    old = rng.choice(past.frames if rng.random() < 0.5 else past.others)
    return [(reply[:2] + old[2:6] + reply[6:7] + old[7:], 0.0)]


def _crossed(reply: bytes, rng: Random, past: Past) -> Parts:
    return [(rng.choice(past.others), 0.0), (reply, 0.0)]


def _noise(reply: bytes, rng: Random, past: Past) -> Parts:
    noise = rng.randbytes(rng.randint(1, 300))
    return [(noise, 0.0)] if rng.random() < 0.5 else [(noise, 0.0), (reply, 0.0)]


def _lost(reply: bytes, rng: Random, past: Past) -> Parts:
    return []


def _ended(reply: bytes, rng: Random, past: Past) -> Parts:
    return [(reply[: rng.randrange(len(reply))] or reply[:1], 0.0), (CLOSE, 0.0)]


# How a reply may be spoilt, and how often: kinds that end a connection are rare, since nothing is asked without one.
KINDS: dict[str, tuple[Kind, int]] = {
    "one bit": (_bit, 10),
    "some bytes": (_bytes, 10),
    "data only": (_data, 10),
    "header": (_header, 10),
    "unit": (_unit, 6),
    "function": (_function, 8),
    "exception": (_refusal, 8),
    "byte count": (_count, 8),
    "truncated": (_truncated, 4),
    "shorter": (_shortened, 8),
    "longer": (_lengthened, 8),
    "trailing bytes": (_trailed, 3),
    "split": (_split, 12),
    "byte by byte": (_byte_by_byte, 3),
    "merged or reordered": (_held, 8),
    "delayed": (_delayed, 10),
    "twice": (_doubled, 10),
    "an old one": (_again, 10),
    "an old one, forged": (_forged, 6),
    "of another line": (_crossed, 8),
    "noise": (_noise, 2),
    "lost": (_lost, 4),
    "end of connection": (_ended, 2),
}
NAMES = tuple(KINDS)
BREAKING = frozenset(
    {"header", "function", "truncated", "trailing bytes", "noise", "end of connection", "some bytes", "one bit"}
)


def some_kinds(rng: Random) -> tuple[str, ...]:
    """Kinds for one universe: a few reach states that all together hide, and without those that break connections
    far more is asked (swarm testing: Groce and others, 2012, from memory)."""
    names = [name for name in NAMES if rng.random() < 0.5]
    if rng.random() < 0.6:
        names = [name for name in names if name not in BREAKING]
    return tuple(names) or NAMES


@dataclass(slots=True)
class Mill:
    """Spoils a share of the replies of all connections of a bench; counts what it did by kind."""

    rng: Random
    share: float
    counts: Counter[str]
    others: list[bytes] = field(default_factory=list)
    names: tuple[str, ...] = NAMES

    def past(self) -> Past:
        """The past of a new connection."""
        return Past(others=self.others)

    def spoilt(self, reply: bytes, past: Past) -> Parts:
        """What arrives instead of a reply."""
        rng = self.rng
        for known in (past.frames, self.others):
            known.append(reply)
            if len(known) > KEPT:
                del known[rng.randrange(KEPT)]
        held, past.held = past.held, b""
        if rng.random() >= self.share:
            parts: Parts = [(reply, 0.0)]
        else:
            name = rng.choices(self.names, [KINDS[n][1] for n in self.names])[0]
            self.counts[name] += 1
            parts = KINDS[name][0](reply, rng, past)
        if held and parts:
            first, at_s = parts[0]
            parts[0] = (held + first if rng.random() < 0.5 else first + held, at_s) if first else (first, at_s)
        elif held:
            past.held = held + past.held if len(held) < 1000 else b""
        return parts
