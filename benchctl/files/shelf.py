"""Where files come from: the disk, or the record of an old run."""

import hashlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from benchctl.files.fault import FileFault, Flaw, nearest

LARGEST_BYTES = 1 << 20
KINDS = ("site", "unit", "instrument", "program", "scenario", "ruleset", "mapping", "broker")
BARE = re.compile(r"[\w][\w.-]*")  # a name; anything with a separator is a path
PACKAGE = Path(__file__).resolve().parents[1]


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file as it was read. path is for people; ref is the name by which it was asked for."""

    kind: str
    ref: str
    path: str
    text: str
    sha256: str

    @classmethod
    def of(cls, kind: str, ref: str, path: str, text: str) -> "SourceFile":
        """With its hash: SHA-256 of the text as UTF-8."""
        return cls(kind, ref, path, text, hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest())

    @property
    def name(self) -> str:
        """The file's name without folder and extension: the name of what it describes."""
        return re.split(r"[/\\]", self.path)[-1].removesuffix(".yaml").removesuffix(".yml")


class Shelf(Protocol):
    """Anything that files can be taken from."""

    def open(self, kind: str, ref: str, base: SourceFile | None = None) -> SourceFile:
        """The file of that kind; base is the file that names it. Raises FileFault."""
        ...


class DiskShelf:
    """Looks a ref up as a path, beside the file that names it, in ./configs and among the shipped files."""

    def open(self, kind: str, ref: str, base: SourceFile | None = None) -> SourceFile:
        """The first file that exists. Raises FileFault: not found (with near names), too large, not UTF-8."""
        tried: list[str] = []
        for file, shown in _candidates(kind, ref, base):
            tried.append(shown)
            if _is_file(file):
                return SourceFile.of(kind, ref, shown, _text(file, shown))
        looked = ", ".join(dict.fromkeys(tried))
        raise FileFault([Flaw(ref or "''", 0, 0, f"no such {kind}; looked for {looked}{nearest(ref, names(kind))}")])


class RecordedShelf:
    """Serves recorded contents, so that an old run can be read again whatever has become of the files."""

    def __init__(self, files: Iterable[SourceFile]) -> None:
        self._files = {(file.kind, file.ref): file for file in files}

    def open(self, kind: str, ref: str, base: SourceFile | None = None) -> SourceFile:
        """The recorded file. Raises FileFault where the record has none."""
        file = self._files.get((kind, ref))
        if file is None:
            known = [name for of, name in self._files if of == kind]
            by = f" named by {base.path}" if base else ""
            raise FileFault([Flaw(ref, 0, 0, f"the record has no such {kind}{by}{nearest(ref, known)}")])
        return file


def shipped() -> Path:
    """Folder of the shipped files: inside the package when installed from a wheel, beside it in a clone."""
    inside = PACKAGE / "configs"
    return inside if inside.is_dir() else PACKAGE.parent / "configs"


def names(kind: str) -> list[str]:
    """Names of the shipped files of a kind."""
    return sorted(file.stem for file in (shipped() / f"{kind}s").glob("*.yaml"))


def _candidates(kind: str, ref: str, base: SourceFile | None) -> Iterator[tuple[Path, str]]:
    """Places to look at, the nearest first, each with how it is shown."""
    yield Path(ref), ref
    bare = BARE.fullmatch(ref) is not None
    endings = ("", ".yaml") if bare else ("",)
    if base is not None:
        folder = Path(base.path).parent
        yield from ((folder / f"{ref}{ending}", str(folder / f"{ref}{ending}")) for ending in endings)
        if bare:
            sibling = folder.parent / f"{kind}s" / f"{ref}.yaml"
            yield sibling, str(sibling)
    if bare:
        inner = f"{kind}s/{ref}.yaml"
        yield Path("configs") / inner, f"configs/{inner}"
        yield shipped() / inner, f"benchctl/configs/{inner}"


def _is_file(file: Path) -> bool:
    try:
        return file.is_file()
    except (OSError, ValueError):  # a name too long or with a NUL is no file
        return False


def _text(file: Path, shown: str) -> str:
    try:
        with file.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except OSError as fault:
        raise FileFault([Flaw(shown, 0, 0, f"cannot be read: {fault.strerror}")]) from None
    if len(data) > LARGEST_BYTES:
        raise FileFault([Flaw(shown, 0, 0, "larger than 1 MiB; a file that people write is smaller")])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        before = data[: fault.start].decode("utf-8-sig", "replace")
        line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
        told = f"byte 0x{data[fault.start]:02X} is not UTF-8; save the file as UTF-8"
        raise FileFault([Flaw(shown, line, column, told)]) from None
