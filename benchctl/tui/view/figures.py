"""Figures and letters large enough to be read across a room, drawn with blocks; `#` where blocks are missing.

A picture element is w cells wide and h half rows high, so that one drawing serves every size. What is old is hatched
(struck through where it is too small for that): it cannot be taken for a live figure, in whatever colour.
"""

from functools import lru_cache

Size = tuple[int, int]  # cells, half rows

# Seven elements high, for the figures that are looked for.
TALL: dict[str, tuple[str, ...]] = {
    "0": (" ### ", "#   #", "#   #", "#   #", "#   #", "#   #", " ### "),
    "1": ("  #  ", "###  ", "  #  ", "  #  ", "  #  ", "  #  ", "#####"),
    "2": ("#### ", "    #", "    #", " ### ", "#    ", "#    ", "#####"),
    "3": ("#### ", "    #", "    #", " ### ", "    #", "    #", "#### "),
    "4": ("#   #", "#   #", "#   #", "#####", "    #", "    #", "    #"),
    "5": ("#####", "#    ", "#    ", "#### ", "    #", "    #", "#### "),
    "6": (" ####", "#    ", "#    ", "#### ", "#   #", "#   #", " ### "),
    "7": ("#####", "    #", "    #", "   # ", "  #  ", "  #  ", "  #  "),
    "8": (" ### ", "#   #", "#   #", " ### ", "#   #", "#   #", " ### "),
    "9": (" ### ", "#   #", "#   #", " ####", "    #", "    #", "#### "),
    ".": (" ", " ", " ", " ", " ", " ", "#"),
    "-": ("   ", "   ", "   ", "###", "   ", "   ", "   "),
    "—": ("     ", "     ", "     ", "#####", "     ", "     ", "     "),
    "#": (" # # ", "#####", " # # ", " # # ", " # # ", "#####", " # # "),
    " ": ("     ",) * 7,
}
# Five elements high, for words and times.
SHORT: dict[str, tuple[str, ...]] = {
    "A": (" # ", "# #", "###", "# #", "# #"),
    "B": ("## ", "# #", "## ", "# #", "## "),
    "C": (" ##", "#  ", "#  ", "#  ", " ##"),
    "D": ("## ", "# #", "# #", "# #", "## "),
    "E": ("###", "#  ", "## ", "#  ", "###"),
    "F": ("###", "#  ", "## ", "#  ", "#  "),
    "G": (" ###", "#   ", "# ##", "#  #", " ###"),
    "H": ("# #", "# #", "###", "# #", "# #"),
    "I": ("#", "#", "#", "#", "#"),
    "J": ("  #", "  #", "  #", "# #", " # "),
    "K": ("# #", "# #", "## ", "# #", "# #"),
    "L": ("#  ", "#  ", "#  ", "#  ", "###"),
    "M": ("#   #", "## ##", "# # #", "#   #", "#   #"),
    "N": ("#  #", "## #", "# ##", "#  #", "#  #"),
    "O": ("###", "# #", "# #", "# #", "###"),
    "P": ("## ", "# #", "## ", "#  ", "#  "),
    "Q": ("### ", "# # ", "# # ", "### ", "   #"),
    "R": ("## ", "# #", "## ", "# #", "# #"),
    "S": ("###", "#  ", "###", "  #", "###"),
    "T": ("###", " # ", " # ", " # ", " # "),
    "U": ("# #", "# #", "# #", "# #", "###"),
    "V": ("# #", "# #", "# #", "# #", " # "),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
    "X": ("# #", "# #", " # ", "# #", "# #"),
    "Y": ("# #", "# #", " # ", " # ", " # "),
    "Z": ("###", "  #", " # ", "#  ", "###"),
    "k": ("#  ", "# #", "## ", "# #", "# #"),
    "z": ("   ", "###", " ##", "## ", "###"),
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": ("## ", " # ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", " ##", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", "  #", "  #"),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    ":": (" ", "#", " ", "#", " "),
    ".": (" ", " ", " ", " ", "#"),
    "—": ("   ", "   ", "###", "   ", "   "),
    " ": ("  ",) * 5,
}
UNKNOWN = {7: ("#####", "#   #", "#   #", "#   #", "#   #", "#   #", "#####"), 5: ("###", "# #", "# #", "# #", "###")}


def glyphs_of(text: str, font: dict[str, tuple[str, ...]]) -> list[tuple[str, ...]]:
    """The drawings of a text; of what has none, a box."""
    tall = len(font[" "])
    return [font.get(c, UNKNOWN[tall]) for c in text]


def width(text: str, font: dict[str, tuple[str, ...]], size: Size) -> int:
    """Cells that a text takes."""
    return sum(size[0] * (len(g[0]) + 1) for g in glyphs_of(text, font))


def rows(font: dict[str, tuple[str, ...]], size: Size) -> int:
    """Rows that a text takes."""
    return -(-len(font[" "]) * size[1] // 2)


def tall(text: str, size: Size, *, ascii_only: bool, old: bool) -> tuple[str, ...]:
    """A figure in so many rows of equal width."""
    return _drawn(text, True, size, ascii_only, old)


def short(text: str, size: Size, *, ascii_only: bool, old: bool) -> tuple[str, ...]:
    """A word or a time."""
    return _drawn(text, False, size, ascii_only, old)


@lru_cache(maxsize=128)
def _drawn(text: str, is_tall: bool, size: Size, ascii_only: bool, old: bool) -> tuple[str, ...]:
    font = TALL if is_tall else SHORT
    glyphs = glyphs_of(text, font)
    halves: list[str] = []
    for y in range(len(font[" "])):
        line = "".join("".join(c * size[0] for c in g[y] + " ") for g in glyphs)
        halves += [line] * size[1]
    halves += [" " * len(line)] * (len(halves) % 2)
    hatched = old and min(size) > 1
    made = [_row(halves[y], halves[y + 1], y, ascii_only, hatched) for y in range(0, len(halves), 2)]
    if old and not hatched:
        middle = len(made) // 2
        made[middle] = "".join("-" if ascii_only else "━" for _ in made[middle])
    return tuple(made)


def _row(upper: str, lower: str, y: int, ascii_only: bool, hatched: bool) -> str:
    """Two half rows as one row of cells; hatched: every other element of a chess board."""
    if ascii_only:
        return "".join((":" if hatched else "#") if c == "#" else " " for c in upper)
    cells = []
    for x, (top, bottom) in enumerate(zip(upper, lower, strict=True)):
        on, under = top == "#", bottom == "#"
        if hatched:
            on, under = on and (x + y) % 2 == 0, under and (x + y) % 2 == 1
        cells.append("█" if on and under else "▀" if on else "▄" if under else " ")
    return "".join(cells)
