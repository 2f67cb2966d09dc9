"""What a screen of many benches is drawn from. Only the cursor is the screen's own."""

from dataclasses import dataclass

from benchctl.mqtt.picture import Bench


@dataclass(slots=True)
class Watched:
    """where: what is listened to; cut: why nothing comes, empty while it does; cursor: key of the bench looked at.

    stray: the last message that belonged to no bench, and how many there were. glyphs: "full" or "ascii".
    """

    where: str
    benches: tuple[Bench, ...] = ()
    cut: str = ""
    strays: int = 0
    stray: str = ""
    clock: str = "--:--:--"
    cursor: str = ""
    opened: bool = False  # the bench under the cursor is shown alone
    scroll: int = 0
    by_name: bool = False
    glyphs: str = "full"
