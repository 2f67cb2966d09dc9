"""First contact with devices that a run host owns: it is asked, not the wire."""

import asyncio
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchctl.claim import ClaimFault
    from benchctl.core.site import Instrument, Site, Unit
    from benchctl.door.card import Card


def asked(fault: "ClaimFault", site: "Site") -> list[dict[str, Any] | None] | None:
    """What the run host that holds a device knows of all devices of a site, in the site's order.

    None for one that it does not know; None alone when whoever holds it is no run host that can be asked.
    """
    rows = _ask(fault)
    if rows is None:
        return None
    known = {(row["at"], row["unit_id"]): row for row in rows}  # its site may have other names for the same devices
    devices: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
    return [known.get((f"{d.endpoint.host}:{d.endpoint.port}", d.unit_id)) for d in devices]


def _ask(fault: "ClaimFault") -> list[dict[str, Any]] | None:
    from benchctl.cli.attach import cards_folder
    from benchctl.door.card import read_cards
    from benchctl.door.client import Client, Refused

    async def ask(card: "Card") -> list[dict[str, Any]] | None:
        try:
            client = await Client.connect(card, "probe", "visitor")
        except Refused:
            return None
        try:
            return list((await client.look())["rows"])
        except Refused:
            return None
        finally:
            await client.close()

    pid = fault.holder.pid if fault.holder else None
    card = next((c for c in read_cards(cards_folder()) if c.pid == pid and not c.rehearsal), None)
    return None if card is None else asyncio.run(ask(card))
