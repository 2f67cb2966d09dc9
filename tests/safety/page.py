"""The page `configs/safety.md`, drawn from the tables: hazards with their evidence, actions, what is left to people."""

from textwrap import fill

from benchctl.core.causes import BY_KEY as CAUSES
from benchctl.core.profile import Reaction
from tests.safety.actions import ACTIONS
from tests.safety.evidence import ROOT
from tests.safety.hazard import Hazard
from tests.safety.hazards import BY_KEY, EACH_CAUSE, HAZARDS, PARTS

PAGE = ROOT / "configs" / "safety.md"

HEAD = """\
# Safety: what can go wrong, and what is done about it

<!-- Drawn by `python -m tests.safety` from the tables in tests/safety. Do not edit. -->

**benchctl is no safety device.** It runs on a general purpose computer, network and terminal; no performance level
(ISO 13849-1) and no safety integrity level (IEC 61508, IEC 62061) is claimed, and it must never be the only means by
which load comes off. Stop categories in the sense of IEC 60204-1 are those of the hard-wired stop: `drop` and `unload`
are requests over a network. What follows makes it right in what it does do; it takes nothing from the list of what
others must do.

What it cannot do, whatever it says on its screens:

- open a contactor that is welded, or one whose unit does not listen: that takes a breaker;
- act while its computer is off, asleep or cut off: that takes the unit's own watchdog, which must have been tried;
- act within a cycle: a scan is half a second at best. The source's relays, the units' trips and fuses are quicker;
- see what no instrument tells: hot air that comes back, a fan that turns backwards, a person in the fence;
- know who writes to a unit beside it: Modbus has no owner and no proof of who speaks;
- prove what a meter measures: the check load compares, the calibration is somebody else's.

How to read it: each hazard says how it comes about, who notices, what the bench does, what the unit must do by itself,
what is left to people, what the operator reads, and which tests show it. Tests are named as pytest names them; a test
holds this page to the tables, and the tables to the code. What a cause does: *drop*: all off at once, latched ·
*unload*: all off in steps, latched · *unit off*: that unit only · *hold*: the program stands, a person is asked ·
*alarm*: it is told.
"""

DOES = {
    Reaction.DROP: "drop",
    Reaction.UNLOAD: "unload",
    Reaction.UNIT_OFF: "unit off",
    Reaction.HOLD: "hold",
    Reaction.ALARM: "alarm",
}
BLANKS = {  # what a text is filled in with when it is told
    "{unit}": "bank N", "{missing}": "stage N phase A", "{cooling_min:.0f}": "15",
    "{delivered_kw:.0f}": "…", "{source_kw:.0f}": "…", "{confirmed_kw:.0f}": "…",
}  # fmt: skip


def page() -> str:
    """The whole page as it must stand on disk."""
    parts = [HEAD, _summary()]
    for title, rows in PARTS:
        parts.append(f"## {title}\n")
        parts += [_hazard(row) for row in rows]
    parts += [_actions(), _evidence()]
    return "\n".join(parts)


def cause_text(key: str) -> str:
    """What the operator reads of a cause, with blanks for what is filled in."""
    text = CAUSES[key].text
    for blank, word in BLANKS.items():
        text = text.replace(blank, word)
    while "{" in text:  # a limit of the site
        head, _, tail = text.partition("{")
        text = f"{head}…{tail.partition('}')[2]}"
    return text


def _anchor(title: str) -> str:
    kept = "".join(c for c in title.lower() if c.isalnum() or c in " -")
    return kept.replace(" ", "-")


def _link(key: str) -> str:
    return f"[{key}](#{_anchor(BY_KEY[key].title)})"


def _summary() -> str:
    lines = ["| hazard | noticed by the bench as | tests |", "|---|---|---|"]
    for row in HAZARDS:
        does = "; ".join(f"{key} ({DOES[CAUSES[key].reaction]})" for key in row.causes) or "see below"
        lines.append(f"| [{row.title}](#{_anchor(row.title)}) | {does} | {len(row.shown)} |")
    return "\n".join(lines) + "\n"


def _hazard(row: Hazard) -> str:
    prose = (
        ("Arises", row.arises),
        ("Noticed", row.noticed),
        ("The bench", row.bench),
        ("The unit by itself", row.unit),
        ("Left to people", row.leaves),
    )
    lines = [
        f"### {row.title}\n",
        *(fill(f"- **{name}**: {text}", 118, subsequent_indent="  ") for name, text in prose),
    ]
    if row.causes or row.said:
        lines.append("- **The operator reads**:")
    for key in row.causes:
        cause = CAUSES[key]
        lines.append(f"  - “{cause_text(key)}” ({DOES[cause.reaction]}). {cause.help}")
    lines += [f"  - “{said.words.strip()}” (`{said.file}`)" for said in row.said]
    lines.append("- **Shown by**:")
    lines += [f"  - `{node}`" for node in row.shown]
    return "\n".join(lines) + "\n"


def _actions() -> str:
    lines = [
        "## Control actions\n",
        (
            "Each action by which load, fans or charge move, asked in the four ways of STPA: a cell names the hazards "
            "that it"
        ),
        "leads to, or says why it leads to none.\n",
    ]
    for action in ACTIONS:
        lines += [
            f"### To {action.name}\n",
            f"By: {action.by}. {action.guards}\n",
            "| when | what | hazards |",
            "|---|---|---|",
        ]
        lines += [
            f"| {kind} | {cell.why} | {', '.join(_link(key) for key in cell.hazards) or 'none'} |"
            for kind, cell in action.cells
        ]
        lines.append("")
    return "\n".join(lines)


def _evidence() -> str:
    lines = ["## Of every cause\n", "Whichever hazard names it, each cause of the bench is shown by:\n"]
    return "\n".join([*lines, *(f"- `{node}`" for node in EACH_CAUSE)]) + "\n"
