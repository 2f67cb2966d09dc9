"""Taking load off from any shell, and saying honestly whether it is off."""

import argparse
import asyncio
import time
from typing import TYPE_CHECKING

from benchctl.cli import GOOD, NOT_GOOD
from benchctl.cli.attach import operator, with_host
from benchctl.cli.status import kw
from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.core.shown import Snapshot
    from benchctl.door.client import Client

CONFIRM_S = 2.0  # a drop that is not read back by then is told as not confirmed
WATCH_S = 15.0  # how much longer it is watched
UNLOAD_S = 300.0
TELL_S = 10.0  # between two words on how far an unload is
NOT_CONFIRMED = "NOT CONFIRMED: use the unit's emergency stop"
NOT_LET_IN = "use the units' emergency stops; `kill` of that process unloads too, a second one drops"
NOBODY = "nothing on this computer owns the chain: use the units' emergency stops, or start a run host first"


def take_off(args: argparse.Namespace, voice: Voice, verb: str) -> int:
    """Ask for it and watch it; returns the exit code."""
    from benchctl.door.client import Gone, Refused

    def nobody(fault: Exception) -> None:
        there = isinstance(fault, Refused) and not isinstance(fault, Gone)
        voice.narrate(f"{fault}; {NOT_LET_IN if there else NOBODY}")
        voice.row({"outcome": "chain lost", "confirmed": False})

    work = with_host(args, voice, "visitor", operator(), lambda client: _take_off(client, voice, verb), nobody=nobody)
    return asyncio.run(work)


async def _take_off(client: "Client", voice: Voice, verb: str) -> int:
    begun_s = time.monotonic()
    asked = asyncio.ensure_future(_ask(client, voice, verb))
    try:
        confirmed = await _watch(client, voice, verb, asked, begun_s)
    finally:
        asked.cancel()
        await asyncio.gather(asked, return_exceptions=True)
    took_s = round(time.monotonic() - begun_s, 3)
    voice.row({"outcome": "off" if confirmed else "not confirmed", "confirmed": confirmed, "took_s": took_s})
    return GOOD if confirmed else NOT_GOOD


async def _ask(client: "Client", voice: Voice, verb: str) -> int | None:
    """The scan that has obeyed; None when none has, which is told."""
    from benchctl.door.client import Refused

    try:
        return int((await client.order(verb))["scan"])
    except Refused as fault:
        voice.narrate(f"{verb}: {fault}")
        return None


async def _watch(
    client: "Client", voice: Voice, verb: str, asked: "asyncio.Future[int | None]", begun_s: float
) -> bool:
    """Follow until every unit reads back open, in a scan after the one that obeyed; say so when it takes too long."""
    limit_s, tell_s, told_s = (
        (UNLOAD_S, UNLOAD_S, TELL_S) if verb == "unload" else (CONFIRM_S + WATCH_S, CONFIRM_S, 1e9)
    )
    said = False
    while (spent_s := time.monotonic() - begun_s) < limit_s and not client.lost:
        obeyed = asked.result() if asked.done() else None
        now = client.snapshot
        if obeyed is not None and now is not None and now.number > obeyed and now.off is True:
            voice.text(f"LOAD OFF: every unit reads back open, after {spent_s:.1f} s")
            return True
        if not said and spent_s > tell_s:
            said = True
            voice.narrate(NOT_CONFIRMED + _which(now))
        if now is not None and spent_s >= told_s:
            told_s += TELL_S
            voice.narrate(f"unloading, {spent_s:.0f} s: read back {kw(now.read_back_kw)}")
        await asyncio.sleep(0.05)
    if client.lost:
        voice.narrate(client.lost)
    if not said:
        voice.narrate(NOT_CONFIRMED + _which(client.snapshot))
    return False


def _which(snapshot: "Snapshot | None") -> str:
    on = [u.name for u in snapshot.units if u.possible_kw > 0.0] if snapshot else []
    return f" ({', '.join(on)})" if on else ""
