"""The real chain as the engine needs it."""

import asyncio
from typing import Any

from benchctl.core.orders import Orders, UnitWrites
from benchctl.core.site import Site
from benchctl.engine import Readings
from benchctl.field.chain import Chain
from benchctl.field.sweep import readings


class LiveChain:
    """Sockets to the units of a site. Made inside the engine's loop."""

    def __init__(self, site: Site) -> None:
        self._site, self._chain = site, Chain(site)

    async def read(self, until_s: float, cut: asyncio.Event | None = None) -> Any:
        """See engine.Chain."""
        return await self._chain.read(until_s, cut)

    def readings(self, sweep: Any) -> Readings:
        """See engine.Chain."""
        return readings(self._site, sweep)

    async def write(self, orders: Orders, until_s: float, cut: asyncio.Event | None = None) -> tuple[UnitWrites, ...]:
        """See engine.Chain."""
        return await self._chain.write(orders, until_s, cut)

    async def close(self) -> None:
        """Close every connection."""
        await self._chain.close()

    @property
    def last_block_spread_s(self) -> float | None:
        """Measured spread of the last block's acknowledgements in seconds."""
        return self._chain.last_block_spread_s
