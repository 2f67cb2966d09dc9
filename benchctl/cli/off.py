"""Taking load off from any shell, and saying honestly whether it is off."""

import argparse
import asyncio
import time
from typing import TYPE_CHECKING

from benchctl.cli.attach import NoHost, attach, operator
from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.core.shown import Snapshot
    from benchctl.door.client import Client

CONFIRM_S = 2.0  # a drop that is not read back by then is told as not confirmed
WATCH_S = 15.0  # how much longer it is watched
UNLOAD_S = 300.0
NOT_CONFIRMED = "NOT CONFIRMED: use the unit's emergency stop"
NOBODY = "nothing on this computer owns the chain: use the units' emergency stops, or start a run host first"
GOOD, NOT_GOOD, CHAIN_LOST = 0, 1, 4


def take_off(args: argparse.Namespace, voice: Voice, verb: str) -> int:
    """Ask for it and watch it; returns the exit code."""
    return asyncio.run(_take_off(args, voice, verb))


async def _take_off(args: argparse.Namespace, voice: Voice, verb: str) -> int:
    from benchctl.door.client import Refused

    try:
        client = await attach(args, voice, "visitor", operator(), starting=False)
    except (NoHost, Refused) as fault:
        voice.narrate(f"{fault}; {NOBODY}")
        voice.row({"outcome": "chain lost", "confirmed": False})
        return CHAIN_LOST
    begun_s = time.monotonic()
    try:
        asked = asyncio.ensure_future(client.order(verb))
        confirmed = await _watch(client, voice, verb, begun_s)
        asked.cancel()
    finally:
        await client.close()
    took_s = round(time.monotonic() - begun_s, 3)
    voice.row({"outcome": "off" if confirmed else "not confirmed", "confirmed": confirmed, "took_s": took_s})
    return GOOD if confirmed else NOT_GOOD


async def _watch(client: "Client", voice: Voice, verb: str, begun_s: float) -> bool:
    """Follow until every unit reads back open; say so when a drop takes too long."""
    limit_s = UNLOAD_S if verb == "unload" else CONFIRM_S + WATCH_S
    said = False
    first = client.snapshot.number if client.snapshot else -1
    while time.monotonic() - begun_s < limit_s and not client.lost:
        snapshot = client.snapshot
        if snapshot is not None and snapshot.number > first + 1 and _off(snapshot):
            voice.text(f"LOAD OFF: every unit reads back open, after {time.monotonic() - begun_s:.1f} s")
            return True
        if verb == "drop" and not said and time.monotonic() - begun_s > CONFIRM_S:
            said = True
            voice.narrate(NOT_CONFIRMED + _which(snapshot))
        await asyncio.sleep(0.05)
    if not said:
        voice.narrate(NOT_CONFIRMED + _which(client.snapshot))
    return False


def _off(snapshot: "Snapshot") -> bool:
    return snapshot.off is True


def _which(snapshot: "Snapshot | None") -> str:
    on = [u.name for u in snapshot.units if u.possible_kw > 0.0] if snapshot else []
    return f" ({', '.join(on)})" if on else ""
