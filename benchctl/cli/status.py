"""The verb `status`: what the run host sees now."""

import argparse
import asyncio
import dataclasses
from typing import TYPE_CHECKING

from benchctl.cli import GOOD, NOT_GOOD
from benchctl.cli.attach import first, operator, site_argument, with_host
from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.core.shown import Snapshot
    from benchctl.door.client import Client

HELP = "what the run host sees now; from any shell"
PATIENCE_S = 10.0


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    site_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """0: told; 1: the run host does not scan; 4: nobody owns the chain."""
    return asyncio.run(with_host(args, voice, "visitor", operator(), lambda client: _status(client, voice)))


async def _status(client: "Client", voice: Voice) -> int:
    snapshot = await first(client, PATIENCE_S)
    if snapshot is None:
        told = f"the run host (process {client.welcome.pid}) answers, but has not scanned"
        voice.narrate(f"{told} for {PATIENCE_S:.0f} s")
        return NOT_GOOD
    head = f"{client.welcome.site}{' (rehearsal)' if client.welcome.rehearsal else ''}"
    for line in status_lines(head, snapshot):
        voice.text(line)
    voice.row(dataclasses.asdict(snapshot))
    return GOOD


def status_lines(head: str, now: "Snapshot") -> list[str]:
    """For people, from the whole down to each unit."""
    from benchctl.cli.charge import charge_words

    lines = [
        f"{head}: {now.mode}{f', held: {now.held}' if now.held else ''}; {charge_words(now)}",
        ", ".join(
            [
                f"target {now.target_kw:.1f} kW",
                f"read back {kw(now.read_back_kw)}",
                f"delivered {kw(now.delivered_kw)}",
                f"available {now.available_kw:.0f} kW",
            ]
        ),
    ]
    if now.trip:
        lines.append(f"TRIPPED: {now.trip.text}")
    if now.prompt is not None:
        lines.append(f"QUESTION: {now.prompt.text} ({now.prompt.remaining_s:.0f} s left, then: {now.prompt.if_silent})")
    for u in now.units:
        exhaust = "exhaust not known" if u.exhaust_c is None else f"exhaust {u.exhaust_c:.0f} °C"
        cool = f", cool-down {u.cool_down_s:.0f} s" if u.cool_down_s else ""
        lines.append(f"  {u.name:<12} {u.condition:<10} read back {kw(u.read_back_kw):>10}, {exhaust}{cool}")
    lines += [f"  ! {alarm.text}" for alarm in now.alarms if alarm.active or alarm.latched]
    return lines


def kw(value: float | None) -> str:
    """A figure in kW, or that it is not known."""
    return "not known" if value is None else f"{value:.1f} kW"
