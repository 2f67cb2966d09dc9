"""Another master writes to a unit that we hold, or takes its only connection for itself.

Case H1: the change is named, the program is held, and nobody fights, neither about registers nor about a connection.
The writes are counted on the wire, between the run host and the unit; the master that writes is pyModbusTCP, a library
that we do not use.
"""

import socket
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest
from pyModbusTCP.client import ModbusClient

from tests.system.live import closed, fans_on, log, records, settled, started, told, truth
from tests.system.small import place, until
from tests.system.tap import HOST, STAGES, Tap, closes_stages, tapped

pytestmark = pytest.mark.slow

TAKEN = "the device closed the connection (does it accept one connection only?)"
ASK_COIL_1 = bytes.fromhex("0001 0000 0006 ff 01 0000 0001")  # read coils: Modbus application protocol 1.1b3, 6.1
FIGHT_S = 15.0


def test_H1_another_masters_load_is_named_and_held_and_never_written_against(tmp_path: Path):
    with place(tmp_path) as here:
        here.simulator()
        with tapped(here) as tap:
            started(here)
            ours, other = settled(here)
            theirs = ours | 0b100000  # 40 kW more than ours
            assert theirs != ours
            before = len(tap.stage_writes())
            assert before > 0
            master = ModbusClient(port=tap.behind, unit_id=255, auto_close=True)
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


class Thief:
    """Another master that keeps a unit busy and, whenever its connection is ended, is back at once."""

    def __init__(self, port: int) -> None:
        self.ports: set[int] = set()
        self._port, self._over = port, threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def _work(self) -> None:
        while not self._over.is_set():
            with suppress(OSError), socket.create_connection((HOST, self._port)) as mine:
                self.ports.add(mine.getsockname()[1])
                mine.settimeout(5.0)
                while not self._over.wait(0.1):
                    mine.sendall(ASK_COIL_1)
                    if not mine.recv(300):
                        break

    def end(self) -> None:
        """Leave."""
        self._over.set()
        self._thread.join(10.0)


def ours(tap: Tap, thief: Thief, since_s: float) -> int:
    """How often the run host has connected."""
    return sum(1 for at_s, port in tap.came if at_s >= since_s and port not in thief.ports)


def test_H1_a_connection_that_another_master_takes_is_named_and_not_fought_for(tmp_path: Path):
    with place(tmp_path) as here:
        here.simulator()
        with tapped(here, one=True) as tap:
            started(here)
            _, other = settled(here)
            begun_s, before = time.monotonic(), len(tap.writes)
            thief = Thief(tap.port)
            try:
                until(lambda: f"bank 1: {TAKEN}" in log(here), 10.0)
                until(lambda: "bank 1: no contact" in log(here), 15.0)
                assert "! bank 1: no contact" in here.verb("status").stdout
                until(lambda: time.monotonic() - begun_s > FIGHT_S)
            finally:
                thief.end()
            came = ours(tap, thief, begun_s)
            assert came <= 8  # 0.2 s doubling to 5 s, and no storm
            sent = tap.writes[before:]
            assert len(sent) <= came
            assert not any(closes_stages(pdu) for pdu in sent)  # a unit that was lost is only ever asked to open
            until(lambda: "bank 1 answers again after" in log(here), 15.0)
            until(lambda: closed(here) == [0, other], 10.0)
            assert fans_on(here)
            assert not any(closes_stages(pdu) for pdu in tap.writes[before:])
            assert 1 <= len([line for line in told(records(here)[0]) if TAKEN in line]) <= 5
