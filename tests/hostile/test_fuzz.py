"""The targets of the fuzzer, on what is right and on what is random; guided runs are for `python -m tests.hostile`."""

from random import Random

import pytest

from benchctl.core.site import Instrument, Unit
from benchctl.field.answer import Answer, Got
from benchctl.field.sweep import Sweep, decoder_of, pack
from benchctl.files import read_site
from tests.hostile import fuzz


def whole_sweep() -> bytes:
    site, _ = read_site("northquay")
    nouns: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
    devices = [tuple(Answer(Got.OK, (0,) * b.words) for b in decoder_of(noun).plan.blocks) for noun in nouns]
    return pack(Sweep(tuple(devices[: len(site.units)]), tuple(devices[len(site.units) :])))


GOOD = {
    "frames": bytes.fromhex("000100000005 01 03 02 0007"),
    "sweeps": whole_sweep(),
    "nouns": b'{"units": [], "block": false}',
    "records": b"\x80\x00",
    "papers": b"a: [1, {b: c}]\n",
}


@pytest.mark.parametrize("name", fuzz.TARGETS)
def test_a_target_takes_what_is_right_and_whatever_is_not(name):
    run, rng = fuzz.TARGETS[name](), Random(name)
    run(GOOD[name])
    for _ in range(15 if name == "records" else 500):
        data = bytearray(GOOD[name])
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(data))
            data[at : at + rng.randint(0, 2)] = rng.randbytes(rng.randint(0, 6))
            data = data or bytearray(b"\0")
        run(bytes(data))
