"""Some devices' answers out of packed sweeps, without unpacking the others: for whoever reads a long record.

A sweep of the same kinds of answers as the one before has its bytes in the same places. So the places are found once,
and after that only looked whether the kinds still stand there.
"""

import struct
from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import Any

from benchctl.core.site import Instrument, Site, Unit
from benchctl.field.answer import Answers, Got
from benchctl.field.sweep import FORMAT, answer_at, decoder_of

_STEADY = {got.value for got in Got}  # kinds whose length is always the same for a block: those without holes


class Glimpse:
    """The answers of the instruments at some indices, sweep by sweep."""

    def __init__(self, site: Site, instruments: Sequence[int]) -> None:
        devices: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
        self._words = [[block.words for block in decoder_of(device).plan.blocks] for device in devices]
        self._wanted = [len(site.units) + index for index in instruments]
        self._begins: list[int] = []  # of the devices' answers, from the last sweep that was walked through
        self._kinds_of: Callable[[bytes], Any] | None = None
        self._kinds: Any = None
        self._size = 0

    def of(self, data: bytes) -> tuple[Answers, ...]:
        """The answers of a packed sweep. Raises ValueError when the bytes are not those of a sweep of this site."""
        if len(data) < 2 or data[0] != FORMAT:
            raise ValueError(f"not a packed sweep of format {FORMAT}: {data[:2].hex() or 'no bytes'}")
        try:
            same = self._kinds_of is not None and len(data) == self._size and self._kinds_of(data) == self._kinds
            if not same:
                self._walk(data)
            return tuple(self._answers(data, device) for device in self._wanted)
        except (IndexError, struct.error) as fault:
            raise ValueError(f"the sweep ends at byte {len(data)}, but this site's devices need more") from fault

    def _walk(self, data: bytes) -> None:
        at, places, self._begins = 2, [], []
        for words in self._words:
            self._begins.append(at)
            for count in words:
                places.append(at)
                _, at = answer_at(data, at, count)
        if at != len(data):
            raise ValueError(f"the sweep has {len(data)} bytes, but this site's devices account for {at}")
        steady = len(places) > 1 and all(data[place] in _STEADY for place in places)
        self._kinds_of = itemgetter(*places) if steady else None
        self._kinds = self._kinds_of(data) if self._kinds_of is not None else None
        self._size = len(data)

    def _answers(self, data: bytes, device: int) -> Answers:
        at, found = self._begins[device], []
        for count in self._words[device]:
            answer, at = answer_at(data, at, count)
            found.append(answer)
        return tuple(found)
