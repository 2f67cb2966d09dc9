"""The raw result of one scan, its compact form for the record, and its readings.

A recorded sweep decodes again to the readings that were acted upon: everything that decoding needs is in it.
"""

import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from benchctl.core.reading import InstrumentReading, UnitReading
from benchctl.core.site import Instrument, Site, Unit
from benchctl.field.answer import NOT_ASKED, Answer, Answers, Got
from benchctl.field.decode import InstrumentDecoder, UnitDecoder, basis
from benchctl.field.decoder import Decoder, instrument_decoder, unit_decoder

FORMAT = 1  # first byte of a packed sweep
HOLES = 0x80  # flag beside Got in an answer's first byte


@dataclass(frozen=True, slots=True)
class Sweep:
    """Answers per device, in the order of the site; per device one answer for each block of its plan.

    Blocks that are not read in every scan are NOT_ASKED in between. cut_short: reads were
    abandoned for a drop, so what is missing says nothing of the devices.
    """

    units: tuple[Answers, ...]
    instruments: tuple[Answers, ...]
    cut_short: bool = False


def decoder_of(device: Unit | Instrument) -> Decoder:
    """The decoder (and with it the read plan) of a device."""
    return unit_decoder(device.profile) if isinstance(device, Unit) else instrument_decoder(device.registers)


def readings(site: Site, sweep: Sweep) -> tuple[tuple[UnitReading, ...], tuple[InstrumentReading, ...]]:
    """What the answers of a sweep mean, in the order of the site. The same answers give the same objects."""
    units, instruments = _decoders(site)
    return (
        tuple([d.reading(a) for d, a in zip(units, sweep.units, strict=True)]),
        tuple([d.reading(a) for d, a in zip(instruments, sweep.instruments, strict=True)]),
    )


_Decoders = tuple[tuple[UnitDecoder, ...], tuple[InstrumentDecoder, ...]]
_last: list[tuple[Site, _Decoders]] = []  # of the site last decoded: in most scans a device says little new


def _decoders(site: Site) -> _Decoders:
    if not _last or _last[0][0] is not site:
        nominal = basis(site.nameplate, site.limits.volts_present_percent)
        units = tuple(UnitDecoder(u, nominal) for u in site.units)
        _last[:] = [(site, (units, tuple(InstrumentDecoder(i, nominal) for i in site.instruments)))]
    return _last[0][1]


def pack(sweep: Sweep) -> bytes:
    """A sweep as bytes: per answer its kind, then its exception code, holes and words, all big endian."""
    parts = [bytes((FORMAT, int(sweep.cut_short)))]
    add = parts.append
    for answers in (*sweep.units, *sweep.instruments):
        for answer in answers:  # nearly every one is one of the first two kinds
            got = answer.got
            if got is Got.OK and not answer.holes:
                add(_whole(len(answer.words))(_OK, *answer.words))
            elif got is Got.NOT_ASKED:
                add(_NOT_ASKED)
            else:
                add(_flawed(answer))
    return b"".join(parts)


_OK = Got.OK.value
_NOT_ASKED = bytes((Got.NOT_ASKED.value,))


@cache
def _whole(words: int) -> Callable[..., bytes]:
    """Packs the kind and the words of an answer of that many words."""
    return struct.Struct(f">B{words}H").pack


def _flawed(answer: Answer) -> bytes:
    """An answer with holes, an exception, or none at all."""
    if answer.got is Got.OK:
        holes, words = answer.holes, answer.words
        return struct.pack(f">BH{len(holes)}H{len(words)}H", _OK | HOLES, len(holes), *holes, *words)
    return bytes((answer.got.value, answer.code) if answer.got is Got.EXCEPTION else (answer.got.value,))


def unpack(site: Site, data: bytes) -> Sweep:
    """The sweep that was packed. Raises ValueError when the bytes are not those of a sweep of this site."""
    if len(data) < 2 or data[0] != FORMAT or data[1] > 1:
        raise ValueError(f"not a packed sweep of format {FORMAT}: {data[:2].hex() or 'no bytes'}")
    devices: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
    at, found = 2, []
    try:
        for device in devices:
            answers = []
            for block in decoder_of(device).plan.blocks:
                answer, at = answer_at(data, at, block.words)
                answers.append(answer)
            found.append(tuple(answers))
    except (IndexError, struct.error) as fault:
        raise ValueError(f"the sweep ends at byte {len(data)}, but this site's devices need more") from fault
    if at != len(data):
        raise ValueError(f"the sweep has {len(data)} bytes, but this site's devices account for {at}")
    return Sweep(tuple(found[: len(site.units)]), tuple(found[len(site.units) :]), bool(data[1]))


_PLAIN = {Got.NOT_ASKED.value: NOT_ASKED, **{g.value: Answer(g) for g in (Got.SILENT, Got.BAD, Got.DOWN)}}


def answer_at(data: bytes, at: int, words: int) -> tuple[Answer, int]:
    """One answer from byte `at`, and where the next begins. Raises ValueError, IndexError, struct.error."""
    kind = data[at]
    if kind in _PLAIN:
        return _PLAIN[kind], at + 1
    if kind == Got.EXCEPTION.value:
        return Answer(Got.EXCEPTION, code=data[at + 1]), at + 2
    if kind & ~HOLES != Got.OK.value:
        raise ValueError(f"byte {at} of the sweep is {kind:#04x}, which is no kind of answer")
    at += 1
    holes: tuple[int, ...] = ()
    if kind & HOLES:
        (count,) = struct.unpack_from(">H", data, at)
        if not count:
            raise ValueError(f"byte {at} of the sweep announces holes, but there are none")
        holes = struct.unpack_from(f">{count}H", data, at + 2)
        at += 2 + 2 * count
    return Answer(Got.OK, struct.unpack_from(f">{words}H", data, at), holes=holes), at + 2 * words
