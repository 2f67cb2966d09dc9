"""Some devices' answers out of packed sweeps, without unpacking the others: for whoever reads a long record."""

import struct
from collections.abc import Sequence

from benchctl.core.site import Instrument, Site, Unit
from benchctl.field.answer import NOT_ASKED, Answer, Answers, Got
from benchctl.field.sweep import FORMAT, answer_at, decoder_of

_OK = Got.OK.value
_BARE = frozenset(got.value for got in (Got.NOT_ASKED, Got.SILENT, Got.BAD, Got.DOWN))  # one byte each


class Glimpse:
    """The answers of the instruments at some indices, sweep by sweep.

    A block that says the same as in the sweep before is the same object, so that a decoder finds it unchanged.
    """

    def __init__(self, site: Site, instruments: Sequence[int]) -> None:
        devices: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
        wanted = [len(site.units) + index for index in instruments]
        self._order = [sorted(wanted).index(device) for device in wanted]
        self._steps: list[tuple[int, int]] = []  # words of each answer, and where it is kept: -1 = passed over
        self._counts: list[int] = []
        kept = 0
        for number, device in enumerate(devices):
            blocks = decoder_of(device).plan.blocks
            for block in blocks:
                self._steps.append((block.words, kept if number in wanted else -1))
                kept += number in wanted
            if number in wanted:
                self._counts.append(len(blocks))
        self._bytes = [b""] * kept
        self._answers: list[Answer] = [NOT_ASKED] * kept

    def of(self, data: bytes) -> tuple[Answers, ...]:
        """The answers of a packed sweep. Raises ValueError when the bytes are not those of a sweep of this site."""
        if len(data) < 2 or data[0] != FORMAT:
            raise ValueError(f"not a packed sweep of format {FORMAT}: {data[:2].hex() or 'no bytes'}")
        try:
            self._walk(data)
        except (IndexError, struct.error) as fault:
            raise ValueError(f"the sweep ends at byte {len(data)}, but this site's devices need more") from fault
        found, first = [], 0
        for count in self._counts:
            found.append(tuple(self._answers[first : first + count]))
            first += count
        return tuple([found[k] for k in self._order])

    def _walk(self, data: bytes) -> None:
        at = 2
        for words, place in self._steps:
            kind, begin = data[at], at
            if kind == _OK:
                at += 1 + 2 * words
            elif kind in _BARE:
                at += 1
            else:
                _, at = answer_at(data, begin, words)
            if place >= 0 and data[begin:at] != self._bytes[place]:
                self._answers[place], at = answer_at(data, begin, words)
                self._bytes[place] = data[begin:at]
        if at != len(data):
            raise ValueError(f"the sweep has {len(data)} bytes, but this site's devices account for {at}")
