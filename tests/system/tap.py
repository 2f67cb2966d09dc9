"""A socket before a unit's: passes bytes both ways, keeps the writes that go to the unit, and plays the unit's part
where a test asks for it: replies of its own, or one connection at a time."""

import re
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

from tests.system.small import Place, free_ports

WRITES = (5, 6, 15, 16)  # function codes that write coils and registers: Modbus application protocol 1.1b3, clause 6
HOST = "127.0.0.1"
STAGES = 6  # coils 1 to 6 of the profile

Answer = Callable[[bytes], bytes | None]  # a request's PDU -> the reply's, or None: let the unit reply


def orders_stages(pdu: bytes) -> bool:
    """Whether a request orders stages: 15 = write multiple coils, of which only those that change are written."""
    return pdu[0] == 15 and int.from_bytes(pdu[1:3], "big") < STAGES


def closes_stages(pdu: bytes) -> bool:
    """Whether it orders one closed."""
    return orders_stages(pdu) and any(pdu[6:])


class Tap:
    """port: where it listens. behind: the unit's own port. one: a new connection ends the older ones."""

    def __init__(self, port: int, behind: int, *, one: bool = False) -> None:
        self.port, self.behind = port, behind
        self.writes: list[bytes] = []
        self.came: list[tuple[float, int]] = []  # when a client connected, and its port
        self.answer: Answer = lambda _: None
        self.one = one
        self._open: list[socket.socket] = []
        self._listener = socket.create_server((HOST, port))
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, (_, port) = self._listener.accept()
                far = socket.create_connection((HOST, self.behind))
            except OSError:
                return
            self.came.append((time.monotonic(), port))
            if self.one:
                self._end_all()
            self._open += [near, far]
            threading.Thread(target=self._ask, args=(near, far), daemon=True).start()
            threading.Thread(target=self._pass, args=(far, near), daemon=True).start()

    def _end_all(self) -> None:
        for end in self._open:
            with suppress(OSError):  # it has gone by itself
                end.shutdown(socket.SHUT_RDWR)
        self._open.clear()

    @staticmethod
    def _pass(source: socket.socket, sink: socket.socket) -> None:
        with suppress(OSError), source, sink:
            while data := source.recv(4096):
                sink.sendall(data)

    def _ask(self, near: socket.socket, far: socket.socket) -> None:
        with suppress(OSError), near, far:
            while data := near.recv(4096):
                while len(data) >= 8:  # frames of one request each, as they are sent
                    length = int.from_bytes(data[4:6], "big") + 6
                    frame, data = data[:length], data[length:]
                    reply = self._look(frame[7:])
                    if reply is None:
                        far.sendall(frame)
                    else:
                        near.sendall(frame[:4] + (len(reply) + 1).to_bytes(2, "big") + frame[6:7] + reply)

    def _look(self, pdu: bytes) -> bytes | None:
        if pdu[0] in WRITES:
            self.writes.append(pdu)
        return self.answer(pdu)

    def stage_writes(self) -> list[bytes]:
        """Those that order stages."""
        return [pdu for pdu in self.writes if orders_stages(pdu)]

    def close(self) -> None:
        """Let nobody in any more."""
        self._listener.close()
        self._end_all()


@contextmanager
def tapped(here: Place, *, one: bool = False) -> Iterator[Tap]:
    """A tap before the first unit of a place whose simulator listens already: the site file leads to it."""
    text = here.site.read_text(encoding="utf-8")
    found = re.search(r"127\.0\.0\.1:(\d+)", text)
    assert found is not None
    (port,) = free_ports(1)
    tap = Tap(port, int(found[1]), one=one)
    here.site.write_text(text.replace(found[1], str(port), 1), encoding="utf-8")
    try:
        yield tap
    finally:
        tap.close()
