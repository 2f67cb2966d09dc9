"""First contact with devices that a run host owns: it is asked, not the wire."""

import asyncio
from typing import TYPE_CHECKING, Any

from benchctl.cli import CHAIN_LOST, GOOD, NOT_GOOD
from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.claim import ClaimFault
    from benchctl.door.card import Card


def ask_holder(fault: "ClaimFault") -> list[dict[str, Any]] | None:
    """What the run host that holds the devices knows of them; None when it is not one that can be asked."""
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


def tell_asked(rows: list[dict[str, Any]], voice: Voice) -> int:
    """What the run host has said."""
    for row in rows:
        voice.row({"kind": "device", "told_by": "run host", **row})
        age = "never" if row["age_s"] is None else f"{row['age_s']:.1f} s ago"
        said = [f"serial {row['serial']}" if row.get("serial") else "", "load is on" if row.get("load_on") else ""]
        voice.text(
            ", ".join(
                [f"{row['name']}: {'answers' if row['reached'] else 'silent'}", f"heard {age}", *filter(None, said)]
            )
        )
        for fault in row.get("faults", ()):
            voice.text(f"     fault: {fault}")
    if not any(row["reached"] for row in rows):
        return CHAIN_LOST
    wrong = any(not row["reached"] or row["identity_ok"] is False or row.get("faults") for row in rows)
    return NOT_GOOD if wrong else GOOD
