"""The page guide."""

from benchctl.tui.view.picture import Picture
from benchctl.tui.view.text import Line, Mark


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    return [((" guide", Mark.QUIET),)]
