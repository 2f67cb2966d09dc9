"""Another master writes to a unit that we hold.

Case H1: the change is named, the program is held, and nobody fights about registers. The writes are counted on the
wire, between the run host and the unit; the other master is pyModbusTCP, a library that we do not use.
"""

import socket
import threading
from pathlib import Path

import pytest
from pyModbusTCP.client import ModbusClient

from tests.system.live import closed, log, settled, started, truth
from tests.system.small import free_ports, place, until

WRITES = (5, 6, 15, 16)  # function codes that write coils and registers: Modbus application protocol 1.1b3, clause 6
STAGES = 6  # coils 1 to 6 of the profile


class Tap:
    """A socket before a unit's: passes bytes both ways and keeps the writes that go to the unit."""

    def __init__(self, port: int, behind: int) -> None:
        self.writes: list[bytes] = []
        self._behind = behind
        self._listener = socket.create_server(("127.0.0.1", port))
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
                far = socket.create_connection(("127.0.0.1", self._behind))
            except OSError:
                return
            threading.Thread(target=self._pass, args=(near, far, self._look), daemon=True).start()
            threading.Thread(target=self._pass, args=(far, near, lambda _: None), daemon=True).start()

    @staticmethod
    def _pass(source: socket.socket, sink: socket.socket, look) -> None:
        try:
            while data := source.recv(4096):
                look(data)
                sink.sendall(data)
        except OSError:
            pass
        finally:
            source.close()
            sink.close()

    def _look(self, data: bytes) -> None:
        while len(data) >= 8:  # frames of one request each, as they are sent
            length = int.from_bytes(data[4:6], "big") + 6
            if data[7] in WRITES:
                self.writes.append(data[7:length])
            data = data[length:]

    def stage_writes(self) -> list[bytes]:
        """Those that order stages: 15 = write multiple coils, from coil 1."""
        return [pdu for pdu in self.writes if pdu[:3] == b"\x0f\x00\x00"]

    def close(self) -> None:
        """Let nobody in any more."""
        self._listener.close()


@pytest.mark.slow
def test_H1_another_masters_load_is_named_and_held_and_never_written_against(tmp_path: Path):
    with place(tmp_path) as here:
        here.simulator()
        text = here.site.read_text()
        behind = int(text.split("127.0.0.1:")[1].split("}")[0])
        (port,) = free_ports(1)
        tap = Tap(port, behind)
        here.site.write_text(text.replace(str(behind), str(port), 1))
        try:
            started(here)
            ours, other = settled(here)
            theirs = ours | 0b100000  # 40 kW more than ours
            assert theirs != ours
            before = len(tap.stage_writes())
            master = ModbusClient(port=behind, unit_id=255, auto_close=True)
            assert master.write_multiple_coils(0, [bool(theirs >> bit & 1) for bit in range(STAGES)])
            until(lambda: "load changed by someone else" in log(here), 10.0)
            status = until(lambda: (s := here.verb("status").stdout) and "held" in s and s, 10.0)
            assert "bank 1: load changed by someone else" in status
            assert "Go on?" in status
            since_s = truth(here)["t"]
            until(lambda: truth(here)["t"] > since_s + 5.0)
            assert closed(here) == [theirs, other]
            assert len(tap.stage_writes()) - before <= 1
            assert here.verb("unload").returncode == 0
            assert closed(here) == [0, 0]
        finally:
            tap.close()
