"""What a connection and the door have in common: who is in, the times, and what each expects of the other."""

from collections.abc import Awaitable, Callable, Coroutine
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from benchctl.door import messages as m

if TYPE_CHECKING:
    from benchctl.door.guest import Connection


class Rejected(Exception):  # noqa: N818 - an answer, no failure
    """A request is not done; str() says why in a line for the operator."""


@dataclass(frozen=True, slots=True)
class Times:
    """Times of a door in seconds. linger_s: how long a last word may take to leave."""

    ping_s: float = 1.0
    attached_s: float = 5.0
    hello_s: float = 5.0
    line_s: float = 10.0
    linger_s: float = 1.0


@dataclass(frozen=True, slots=True)
class Guest:
    """A client that is in. pong_age_s: since its loop has last answered; None = not yet. console: its name here."""

    number: int
    who: str
    role: str
    version: str
    since_wall_s: float
    pong_age_s: float | None
    console: str = ""


class House(Protocol):
    """What a connection needs of the door."""

    times: Times
    secret: str

    def clock(self) -> float:
        """Seconds of a clock that does not go back."""

    def admit(self, connection: "Connection", role: m.Role) -> str:
        """Let it in and give it its name, or say why not."""

    def left(self, connection: "Connection") -> None:
        """It is not served any more."""

    def lost(self, connection: "Connection") -> None:
        """Its socket is closed."""

    def welcome(self, proof: str, console: str) -> m.Welcome:
        """The host's first words. console: what this client is called here."""

    def newest(self) -> bytes | None:
        """The newest snapshot as a line."""

    def serve(self, work: Coroutine[Any, Any, None]) -> None:
        """Do something beside."""

    async def receive(self, guest: Guest, message: m.Request) -> dict[str, Any]:
        """Act on a request. Raises Rejected."""

    def note(self, text: str) -> None:
        """For whoever reads the host's log."""


Receive = Callable[[Guest, m.Request], Awaitable[dict[str, Any]]]
