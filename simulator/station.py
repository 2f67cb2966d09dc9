"""What stands behind one endpoint: a device, or a gateway with several, and the time its answers take.

One request at a time: each occupies the station for its device's dead time, so requests that come faster wait
in line. Behind a gateway a device that does not answer occupies the line for the gateway's own time-out; then
the gateway answers for it (exception 11). Without a gateway silence is silence.
"""

from collections.abc import Callable, Iterable

from benchctl.core.site import Endpoint
from simulator.bench import Bench
from simulator.cables import Cable
from simulator.devices import Device, devices
from simulator.wire import NO_TARGET, NotModbus, frame, refusal, split

GATEWAY_TIMEOUT_S = 0.5


class Station:
    """One endpoint of a bench. dead_time: False = answers at once, whatever the devices' own times."""

    def __init__(self, bench: Bench, endpoint: Endpoint, members: Iterable[Device], dead_time: bool = True) -> None:
        self.bench, self.endpoint, self.gateway = bench, endpoint, endpoint.gateway
        self.devices = {d.unit_id: d for d in members}
        self.cable: Cable = bench.cables.of(f"{endpoint.host}:{endpoint.port}")
        self._dead_time = dead_time
        self._free_s = 0.0

    def serve(self, unit: int, pdu: bytes, now_s: float) -> tuple[bytes | None, float]:
        """Reply PDU, or None for none, and the time at which it leaves. Acts on the world at once."""
        device = self.devices.get(unit)
        reply = device.respond(pdu) if device else None
        takes_s = device.dead_time_s if device and self._dead_time else 0.0
        if reply is None and self.gateway:
            takes_s, reply = GATEWAY_TIMEOUT_S, refusal(pdu, NO_TARGET)
        at_s = max(now_s, self._free_s) + takes_s
        self._free_s = at_s
        return (None if reply is None or self.cable.lost() else reply), at_s + self.cable.delay_s


def stations(bench: Bench, dead_time: bool = True) -> dict[Endpoint, Station]:
    """Every endpoint of a bench, with the devices behind it.

    One that is a gateway for any of them is one for all.
    """
    found: dict[tuple[str, int], list[Device]] = {}
    for device in devices(bench):
        found.setdefault((device.endpoint.host, device.endpoint.port), []).append(device)
    made = {}
    for members in found.values():
        endpoint = max((d.endpoint for d in members), key=lambda e: e.gateway)
        station = Station(bench, endpoint, members, dead_time)
        made.update({d.endpoint: station for d in members})
    return made


class Conversation:
    """One connection's bytes. `send(reply, at_s)` is called in order, `end()` when the bytes are no Modbus."""

    __slots__ = ("_clock", "_end", "_rest", "_send", "_station")

    def __init__(
        self,
        station: Station,
        clock: Callable[[], float],
        send: Callable[[bytes, float], None],
        end: Callable[[], None],
    ) -> None:
        self._station, self._clock, self._send, self._end = station, clock, send, end
        self._rest = b""  # the beginning of a frame

    def feed(self, data: bytes) -> None:
        """Bytes from the client, cut anywhere."""
        try:
            frames, self._rest = split(self._rest + data)
        except NotModbus:
            self._end()
            return
        now_s = self._clock()
        station = self._station
        for transaction, unit, pdu in frames:
            station.bench.advance(now_s)
            if station.cable.cut:
                return
            reply, at_s = station.serve(unit, pdu, now_s)
            if reply is not None:
                self._send(station.cable.garbled(frame(transaction, unit, reply)), at_s)
