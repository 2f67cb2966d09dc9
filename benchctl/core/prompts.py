"""Questions to the operator, as rows: how long they stay open and what happens if nobody answers."""

from dataclasses import dataclass

from benchctl.core.decision import Event, Settings
from benchctl.core.program import Silence
from benchctl.core.state import Prompt, State


@dataclass(frozen=True, slots=True)
class PromptRow:
    """A kind of question. yes and no say what an answer does; open_s is common practice, no source.

    by_itself: silence may go on. Where load went off, was changed or is not proven, only a person may.
    """

    kind: str
    yes: str
    no: str
    open_s: float
    by_itself: bool


PROMPTS: tuple[PromptRow, ...] = (
    PromptRow("wait", "go on with the program", "unload", 600.0, True),
    PromptRow("band", "start the hold although it is not in band", "unload", 120.0, True),
    PromptRow("held", "go on from what is on now", "unload", 120.0, False),
    PromptRow("permissives", "wait on", "end the test", 120.0, False),
    PromptRow("check", 'go on (needs the override "check load")', "end the test", 120.0, False),
    PromptRow(
        "found",
        "adopt it by hand as it is read back; until its air is proven anew it can only be lowered",
        "unload",
        300.0,
        False,
    ),
    PromptRow("loss", "go on without the loss of supply", "unload", 120.0, True),
)

BY_KIND = {row.kind: row for row in PROMPTS}


def ask(
    state: State,
    settings: Settings,
    kind: str,
    text: str,
    events: list[Event],
    *,
    open_s: float | None = None,
    if_silent: Silence | None = None,
) -> None:
    """Open a question, unless one is open; the text says what happens if nobody answers."""
    if state.prompt is not None:
        return
    row = BY_KIND[kind]
    silent = if_silent or (settings.program.if_silent if settings.program else Silence.UNLOAD)
    if silent is Silence.GO_ON and not row.by_itself:
        silent = Silence.UNLOAD
    remaining_s = row.open_s if open_s is None else open_s
    state.prompt = Prompt(kind, text, remaining_s, silent)
    events.append(
        Event("prompt", f"{text} (nobody answers within {remaining_s:.0f} s: {silent.value})", data=(("prompt", kind),))
    )
