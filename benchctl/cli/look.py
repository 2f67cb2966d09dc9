"""How a register that was looked at is shown: every reading of its words."""

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchctl.field.look import Look, RegisterView


def look_lines(look: "Look", bits: bool) -> list[str]:
    """A register's look for people: raw words, then a line for each byte order."""
    head = f"{look.address:>6}"
    if look.fault:
        return [f"{head}  {look.fault}"]
    if bits:
        return [f"{head}  {look.words[0]}"]
    lines = [f"{head}  {' '.join(f'{w:04X}' for w in look.words):<9}  int16 {look.int16}  uint16 {look.uint16}"]
    if look.float32 is not None and look.int32 is not None and look.uint32 is not None:
        lines += [
            f"        {order.value}       float32 {look.float32[order]:<14.7g} int32 {look.int32[order]:<12} "
            f"uint32 {look.uint32[order]}"
            for order in look.float32
        ]
    return lines


def look_row(view: "RegisterView", look: "Look") -> dict[str, Any]:
    """A register's look as a JSON object; a fault or a figure that is not there is null."""
    row: dict[str, Any] = {
        "kind": "register",
        "space": view.space.value,
        "unit_id": view.unit_id,
        "address": look.address,
        "words": list(look.words),
        "fault": look.fault or None,
        "int16": look.int16,
        "uint16": look.uint16,
    }
    for name, ways in (("int32", look.int32), ("uint32", look.uint32), ("float32", look.float32)):
        # JSON has no word for infinity or not-a-number: those are null.
        row[name] = ways and {o.value: v if math.isfinite(v) else None for o, v in ways.items()}
    return row
