"""Listens at a broker for as long as it is let, and comes back after every end. Publishes nothing, ever."""

import asyncio
import random
import time
from collections.abc import Callable

from benchctl.files.broker import Broker
from benchctl.mqtt.gathered import Gathered
from benchctl.mqtt.patience import Patience
from benchctl.mqtt.topics import everything
from benchctl.mqtt.wire import WireFault, incoming


class Subscriber:
    """Puts all that comes into `gathered`. changed: called with the key of a bench, or None when all are concerned."""

    def __init__(
        self,
        broker: Broker,
        gathered: Gathered,
        changed: Callable[[str | None], None],
        *,
        clock: Callable[[], float] = time.monotonic,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._broker, self._gathered, self._changed = broker, gathered, changed
        self._clock, self._chance = clock, chance
        self._patience = Patience()

    async def run(self) -> None:
        """Until it is cancelled. Raises nothing of the broker's: what is wrong stands in `gathered.cut`."""
        while True:
            begun_s, heard = self._clock(), False
            try:
                async with incoming(self._broker) as wire:
                    await wire.subscribe(everything(self._broker.root))
                    self._gathered.heard()
                    self._patience.connected()
                    heard = True
                    self._changed(None)
                    async for came in wire.messages():
                        self._changed(self._gathered.take(came.topic, came.payload, retained=came.retained))
                    why = "the broker has ended the connection"
            except WireFault as fault:
                why = str(fault)
            if heard:
                now_s = self._clock()
                self._patience.lost(now_s, now_s - begun_s)
            else:
                self._patience.failed()
            wait_s = self._patience.wait_s(self._chance())
            self._gathered.cut = f"{why}; tried again in {wait_s:.0f} s"
            self._changed(None)
            await asyncio.sleep(wait_s)
