"""Holes in a register map, in virtual time.

Single reads of 100, 101, 103, 104 answer 11, 22, 44, 55; 102 answers exception 2. Sources: ioBroker.modbus#581,
pysolarfocus#61 (a device that skips the missing address and slides the rest down one).
"""

import pytest

from benchctl.core.reading import Outcome
from benchctl.core.registers import Kind, Point, RegisterMap, Span
from benchctl.field.chain import Chain
from benchctl.field.sweep import pack, readings, unpack
from simulator.warp import run
from tests.field.made import H, meter, site
from tests.field.scenes import PLACES, now
from tests.field.scripted import Memory, good

HELD = {100: 11, 101: 22, 103: 44, 104: 55}


def holed(whole):
    """A device without address 102; `whole` answers a read across it."""

    def script(asked):
        if not asked.address <= 102 < asked.address + asked.count:
            return good(HELD)(asked)
        return whole(asked)

    return script


def five(readable: bool):
    """An instrument whose map says 100 to 104, or leaves 102 out."""
    names = ("volts_a", "volts_b", "volts_c", "amps_a", "amps_b")
    points = [Point(n, H, 100 + i, Kind.UINT16) for i, n in enumerate(names) if readable or i != 2]
    return meter(*points, endpoint=PLACES[0])


def scan_twice(instrument, script):
    async def scene():
        place = site(instruments=(instrument,))
        memory = Memory({PLACES[0]: script})
        chain = Chain(place, connect=memory.connect)
        sweeps = [await chain.read(now() + 2.0) for _ in range(2)]
        counts = len(memory.asked[PLACES[0]])
        await chain.read(now() + 2.0)
        again = memory.asked[PLACES[0]][counts:]
        found = readings(place, sweeps[1])[1][0]
        assert unpack(place, pack(sweeps[1])) == sweeps[1]
        await chain.close()
        return found, chain.absent, [(a.address, a.count) for a in again]

    return run(scene())


def test_A4_X_a_refused_block_falls_back_to_smaller_reads_and_only_the_hole_is_unavailable():
    found, absent, again = scan_twice(five(readable=True), holed(lambda a: a.frame(bytes((0x83, 2)))))
    e = found.electrical
    assert (e.volts_ln, e.amps, found.outcome) == ((11.0, 22.0, None), (44.0, 55.0, None), Outcome.PART)
    assert absent == {"meter": ("holding 102",)}
    assert not [a for a, n in again if a <= 102 < a + n]  # remembered


def test_A4_Y_a_reply_with_too_few_registers_is_refused():
    found, _, _ = scan_twice(five(readable=True), holed(lambda a: a.frame(b"\x03\x08\0\x0b\0\x16\0\x2c\0\x37")))
    assert (found.outcome, found.electrical.amps[0]) == (Outcome.REFUSED, None)


@pytest.mark.parametrize("whole", [lambda a: a.frame(b"\x03\x0a\0\x0b\0\x16\0\x2c\0\x37\0\0")])
def test_A4_Z_no_request_crosses_an_address_that_the_map_leaves_out(whole):
    found, absent, again = scan_twice(five(readable=False), holed(whole))
    e = found.electrical
    assert (e.volts_ln, e.amps, found.outcome) == ((11.0, 22.0, None), (44.0, 55.0, None), Outcome.OK)
    assert (absent, again) == ({}, [(100, 2), (103, 2)])


def test_A4_a_map_that_declares_the_gap_readable_is_read_in_one_request():
    made = five(readable=False)
    shape = RegisterMap(made.registers.points, (Span(H, 100, 104),))
    _, _, again = scan_twice(meter(endpoint=PLACES[0], registers=shape), good(HELD))
    assert again == [(100, 5)]
