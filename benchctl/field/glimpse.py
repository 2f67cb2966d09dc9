"""Some devices' answers out of packed sweeps, without unpacking the others: for whoever reads a long record.

How long an answer is hangs on its kind alone, unless it has holes. So the kinds of all answers are a sweep's layout:
where those at the places of a known layout are the same, its places are right, and nobody has to walk along them.
"""

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

from benchctl.core.site import Instrument, Site, Unit
from benchctl.field.answer import NOT_ASKED, Answer, Answers, Got
from benchctl.field.sweep import FORMAT, HOLES, answer_at, decoder_of

_OK = Got.OK.value
_BARE = frozenset(got.value for got in (Got.NOT_ASKED, Got.SILENT, Got.BAD, Got.DOWN))  # one byte each
KNOWN = 32  # layouts that are remembered: blocks that are asked seldom take turns


@dataclass(frozen=True, slots=True)
class _Layout:
    """length: of the sweep; kinds: gets those of its answers, which must be `told`; spans: of the kept blocks."""

    length: int
    kinds: Callable[[bytes], Any]
    told: Any
    spans: tuple[tuple[int, int], ...]


class Glimpse:
    """The answers of the instruments at some indices, sweep by sweep.

    A block that says the same as in the sweep before is the same object, so that a decoder finds it unchanged; where
    all do, so is the whole.
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
        self._words = [words for words, place in self._steps if place >= 0]
        self._layouts: list[_Layout] = []
        self._found: tuple[Answers, ...] | None = None

    def of(self, data: bytes) -> tuple[Answers, ...]:
        """The answers of a packed sweep. Raises ValueError when the bytes are not those of a sweep of this site."""
        if len(data) < 2 or data[0] != FORMAT:
            raise ValueError(f"not a packed sweep of format {FORMAT}: {data[:2].hex() or 'no bytes'}")
        try:
            moved = self._quick(data)
            moved = self._walk(data) if moved is None else moved
        except (IndexError, struct.error) as fault:
            raise ValueError(f"the sweep ends at byte {len(data)}, but this site's devices need more") from fault
        if self._found is None or moved:
            self._found = self._grouped()
        return self._found

    def _grouped(self) -> tuple[Answers, ...]:
        found, first = [], 0
        for count in self._counts:
            found.append(tuple(self._answers[first : first + count]))
            first += count
        return tuple([found[k] for k in self._order])

    def _quick(self, data: bytes) -> bool | None:
        """Take the blocks by a layout that is known; whether one changed, None where no layout fits."""
        for layout in self._layouts:
            if layout.length == len(data) and layout.kinds(data) == layout.told:
                break
        else:
            return None
        moved = False
        for place, (begin, end) in enumerate(layout.spans):
            said = data[begin:end]
            if said != self._bytes[place]:
                self._answers[place], _ = answer_at(data, begin, self._words[place])
                self._bytes[place] = said
                moved = True
        return moved

    def _walk(self, data: bytes) -> bool:
        """Take the blocks one after the other, and remember the layout where there are no holes."""
        at, moved, places, spans = 2, False, [], []
        for words, place in self._steps:
            kind, begin = data[at], at
            places.append(at)
            if kind == _OK:
                at += 1 + 2 * words
            elif kind in _BARE:
                at += 1
            else:
                _, at = answer_at(data, begin, words)
            if place >= 0 and data[begin:at] != self._bytes[place]:
                self._answers[place], at = answer_at(data, begin, words)
                self._bytes[place] = data[begin:at]
                moved = True
            if place >= 0:
                spans.append((begin, at))
        if at != len(data):
            raise ValueError(f"the sweep has {len(data)} bytes, but this site's devices account for {at}")
        kinds = itemgetter(*places) if places else bytes
        told = kinds(data)
        if places and not any(data[place] & HOLES for place in places) and len(self._layouts) < KNOWN:
            self._layouts.append(_Layout(len(data), kinds, told, tuple(spans)))
        return moved
