"""Is a report as it was made? Its embedded data against the hashes inside, the whole file against the list beside it.

What lies in a PDF is found as ISO 32000 has it: streams of type EmbeddedFile. Nothing here trusts the page:
the hash of the record that the data name must be compared with the one that is printed and signed.
"""

import base64
import binascii
import hashlib
import re
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchctl.files.bounded import from_json
from benchctl.record.fault import RecordFault
from benchctl.report.figures import as_text, self_hash

EMBEDDED = re.compile(rb"/Length (\d{1,9})/Type/EmbeddedFile(/Filter/FlateDecode)?/Subtype[^\n]{0,300}?>>\nstream\n")
LINKED = re.compile(r'<a download="[^"]*" href="data:[\w/.+-]+;base64,([^"]*)"')
ENDINGS = (".pdf", ".html", ".csv")
MOST_BYTES = 512 * 1024 * 1024  # of one embedded file: what unpacks to more is no data of ours


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found. record, digest: of the record that the report says it is drawn from, empty where it does not."""

    altered: tuple[str, ...]
    notes: tuple[str, ...]
    record: str = ""
    digest: str = ""

    @property
    def intact(self) -> bool:
        """True when nothing speaks against the file."""
        return not self.altered


def is_report(path: Path) -> bool:
    """True for the kinds of file that a report has."""
    return path.suffix.lower() in ENDINGS


def check(path: Path) -> Checked:
    """Check a file of a report. Raises RecordFault when it cannot be read at all."""
    try:
        data = path.read_bytes()
    except OSError as fault:
        raise RecordFault(f"{path}: cannot be read: {fault.strerror}") from None
    altered, notes = _listed(path, data)
    if path.suffix.lower() == ".csv":
        return Checked(tuple(altered), tuple(notes))
    try:
        texts = _in_pdf(data) if path.suffix.lower() == ".pdf" else _in_page(data)
        told = _facts(texts)
    except (ValueError, zlib.error, binascii.Error, KeyError, TypeError) as fault:
        return Checked((*altered, f"its embedded data cannot be read: {fault}"), tuple(notes))
    altered += _against(told, texts, whole=path.suffix.lower() == ".pdf")
    return Checked(tuple(altered), tuple(notes), str(told["record"]), str(told["record_sha256"]))


def _listed(path: Path, data: bytes) -> tuple[list[str], list[str]]:
    """The whole file against the list of hashes beside it."""
    sums = path.with_name(path.stem.removesuffix("-semicolon") + ".sha256")
    only = "only what is embedded can be checked" if path.suffix.lower() != ".csv" else "nothing can be checked"
    try:
        rows = [line.split("  ", 1) for line in sums.read_text(encoding="utf-8").splitlines()]
    except (OSError, UnicodeDecodeError):
        return ([] if path.suffix.lower() != ".csv" else [f"no list of hashes beside it: {only}"]), [
            f"no {sums.name} beside it: {only}"
        ]
    listed = {row[1]: row[0] for row in rows if len(row) == 2}
    if path.name not in listed:
        return [f"{sums.name} does not name it"], []
    if hashlib.sha256(data).hexdigest() != listed[path.name]:
        return [f"the file's hash is not the one in {sums.name}"], []
    return [], []


def _in_pdf(data: bytes) -> list[bytes]:
    texts = []
    for found in EMBEDDED.finditer(data):
        unpacker = zlib.decompressobj()
        packed = data[found.end() : found.end() + int(found[1])]
        if not found[2]:  # what would only grow by being packed
            texts.append(packed)
            continue
        texts.append(unpacker.decompress(packed, MOST_BYTES))
        if not unpacker.eof or unpacker.unused_data:
            raise ValueError("an embedded file does not end where it should")
    return texts


def _in_page(data: bytes) -> list[bytes]:
    texts = []
    for found in LINKED.findall(data.decode("utf-8")):
        texts.append(base64.b64decode(found, validate=True))
        if base64.b64encode(texts[-1]).decode() != found:  # the last figure has bits to spare
            raise ValueError("an embedded file is not as it was written")
    return texts


def _facts(texts: list[bytes]) -> dict[str, Any]:
    for text in texts:
        if text.startswith(b"{") and b'"self_sha256"' in text:
            told: dict[str, Any] = from_json(text)
            if not all(isinstance(told.get(key), str) for key in ("record", "record_sha256", "self_sha256")):
                raise ValueError("the facts do not name the record by texts")
            if not isinstance(told.get("embedded"), dict):  # a name with one other bit, for instance
                raise ValueError("the facts do not say what is embedded")
            if as_text(told).encode() != text:  # JSON has several ways to write one value
                raise ValueError("the facts are not as they were written")
            return told
    raise ValueError("the facts that name the record are not in it: not a report, or altered")


def _against(told: dict[str, Any], texts: list[bytes], whole: bool) -> list[str]:
    altered = []
    if self_hash(told) != told["self_sha256"]:
        altered.append("the embedded facts are not those that were embedded")
    there = {hashlib.sha256(text).hexdigest() for text in texts}
    for name, stated in told["embedded"].items():
        if stated not in there and (whole or not str(name).endswith(".csv")):
            altered.append(f"embedded {name} is not the one that was embedded")
    return altered
