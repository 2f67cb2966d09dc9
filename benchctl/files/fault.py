"""What is wrong with a file, and where: told all at once, with the line and a caret under the place."""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

SHOWN = 20  # flaws told in one go; a wrong indentation can make hundreds
EXCERPT = 100  # characters of a source line that are shown


@dataclass(frozen=True, slots=True, order=True)
class Flaw:
    """One thing wrong. line and column count from 1; 0 = the file as a whole."""

    path: str
    line: int
    column: int
    text: str
    source: str = ""  # the line of the file

    def __str__(self) -> str:
        """`FILE:LINE:COLUMN: text`, then the source line and a caret."""
        path, text = harmless(self.path), harmless(self.text)
        if not self.line:
            return f"{path}: {text}"
        told = f"{path}:{self.line}:{self.column}: {text}"
        start = max(0, self.column - 1 - EXCERPT // 2)
        shown = harmless(self.source[start : start + EXCERPT].replace("\t", " ")).rstrip()
        return f"{told}\n    {shown}\n    {' ' * (self.column - 1 - start)}^" if shown else told


class FileFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """A file that people write cannot be used. str() tells every flaw on lines of its own."""

    def __init__(self, flaws: Iterable[Flaw]) -> None:
        self.flaws = tuple(sorted(set(flaws)))
        super().__init__(self.flaws)

    def __str__(self) -> str:
        """One or more lines for people."""
        more = len(self.flaws) - SHOWN
        lines = [str(flaw) for flaw in self.flaws[:SHOWN]]
        return "\n".join([*lines, f"{harmless(self.flaws[0].path)}: and {more} more"] if more > 0 else lines)


def harmless(text: str) -> str:
    """One line without what a terminal obeys or a reader is misled by: control, direction, lone surrogates."""
    return text if text.isprintable() else "".join(c if c.isprintable() else "?" for c in text)


def nearest(word: str, names: Iterable[str]) -> str:
    """`, did you mean 'x'?` for the name like the word, else a short list whole, else nothing."""
    known = list(names)
    close = get_close_matches(word[:80], known, n=1, cutoff=0.6)
    if close:
        return f", did you mean '{close[0]}'?"
    return f" (known: {', '.join(known)})" if 0 < len(known) <= 12 else ""


def quoted(value: object) -> str:
    """What was found, short enough for a message and safe for a terminal."""
    text = getattr(value, "written", None) or str(value)
    text = harmless(text)
    return f"'{text[:60]}…'" if len(text) > 60 else f"'{text}'"
