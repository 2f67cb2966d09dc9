"""What is wrong with the connections at the moment, one state an endpoint."""

from dataclasses import dataclass, field
from random import Random


@dataclass(slots=True)
class Cable:
    """One endpoint's connection. lose and garble are shares of replies, 0 to 1."""

    rng: Random
    cut: bool = False
    refuses: bool = False
    delay_s: float = 0.0
    lose: float = 0.0
    garble: float = 0.0
    sockets: "set[Closable]" = field(default_factory=set)

    @property
    def closed(self) -> bool:
        """True when no connection can be made."""
        return self.cut or self.refuses

    @property
    def sound(self) -> bool:
        """True when nothing is wrong with it."""
        return not (self.cut or self.refuses or self.delay_s or self.lose or self.garble)

    def lost(self) -> bool:
        """Draw whether this reply vanishes."""
        return self.lose > 0 and self.rng.random() < self.lose

    def garbled(self, reply: bytes) -> bytes:
        """The reply, or a damaged one: one byte of it changed."""
        if not self.garble or self.rng.random() >= self.garble:
            return reply
        place = self.rng.randrange(len(reply))
        return reply[:place] + bytes([reply[place] ^ (1 + self.rng.randrange(255))]) + reply[place + 1 :]

    def break_off(self) -> None:
        """End every connection."""
        for socket in list(self.sockets):
            socket.abort()


class Closable:
    """Something that a cut cable ends."""

    def abort(self) -> None:
        """End the connection."""
        raise NotImplementedError


class Cables:
    """All of them, by "HOST:PORT" as in the site file."""

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._by_name: dict[str, Cable] = {}

    def of(self, name: str) -> Cable:
        """The cable to that endpoint."""
        if name not in self._by_name:
            self._by_name[name] = Cable(Random(f"{self._seed} cable {name}"))  # noqa: S311 - not secrets
        return self._by_name[name]
