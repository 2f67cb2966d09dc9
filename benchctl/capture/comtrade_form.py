"""A recording as COMTRADE (IEC 60255-24 / IEEE C37.111, 1991 to 2013; ASCII, 16 and 32 bit, float; CFG + DAT or CFF).

The only file that imports the library, which reads the data. Around it: faults in words, values that are not in the
file are missing instead of zero, and secondary values of transformers are taken to the primary side.
"""

import math
import re
from array import array
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from benchctl.capture.cfg import check_cfg
from benchctl.capture.recording import Channel, Recording
from benchctl.capture.waves import FEWEST
from benchctl.core.ruleset import Quantity
from benchctl.files.fault import FileFault, Flaw, nearest, quoted
from benchctl.files.mapping import UNITS, Mapping

MANY_VALUES = 2_000_000  # announced; fewer need no look
LARGEST = 3.4e38  # floats as large as these are no values
HEADER = re.compile(rb"(?im)^--- file type: ([a-z]+)(?:\s+([a-z0-9]+)(?:\s*:\s*([0-9]+))?)? ---\s*$")
# Letters in a channel's phase or at the end of its name: the phases A, B, C and their pairs.
PHASE_WORDS = {"A": "a", "B": "b", "C": "c", "R": "a", "S": "b", "T": "c", "L1": "a", "L2": "b", "L3": "c"}
PAIR_WORDS = {
    "AB": "ab",
    "BC": "bc",
    "CA": "ca",
    "RS": "ab",
    "ST": "bc",
    "TR": "ca",
    "12": "ab",
    "23": "bc",
    "31": "ca",
}
IN_NAME = re.compile(
    r"^\s*(?:[UVIE])[\s_]*(AB|BC|CA|RS|ST|TR|L?1-?L?2|L?2-?L?3|L?3-?L?1|L?[123]|[ABCRST])\b", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class _Parts:
    """Where the parts of a recording are. text, first_line: of the configuration; data: bytes of the values.

    first_line, data_first_line: lines of the file before the part.
    """

    text: list[str]
    first_line: int
    data: bytes
    data_path: Path
    data_first_line: int = 0


def read_comtrade(path: Path, mapping: Mapping | None = None) -> Recording:
    """The recording; path is that of the CFG or the CFF. Raises FileFault with the line of what cannot be read."""
    from comtrade import Comtrade, ComtradeError

    parts = _parts(path)
    check_cfg(path, parts.text, parts.first_line)
    read = Comtrade(ignore_warnings=True, use_double_precision=True)
    config = "\n".join(WHOLE_SECOND.sub(r"\1.000000", line.strip()) for line in parts.text) + "\n"
    form = read_form(parts.text)
    _check_announced(parts, form)
    data: Any = "\n".join(_data_lines(parts)) if form == "ASCII" else parts.data
    try:
        read.read(config, data)
    except (ComtradeError, ValueError, IndexError, TypeError, OverflowError) as fault:
        raise _bad_data(parts, form, fault) from None
    notes: list[str] = []
    here = _samples(read, parts, form, notes)
    channels = _mapped(path, read, mapping, here, notes) if mapping else _recognised(read, here, notes)
    if not channels:
        raise FileFault([Flaw(str(path), 0, 0, "no channel in volts, amps, hertz or kW: " + "; ".join(notes))])
    t_s = array("d", [t - read.time[0] for t in read.time[:here]])
    title = f"COMTRADE {read.rev_year} {form}{' in one file' if path.suffix.lower() == '.cff' else ''}"
    return Recording(
        path.name, title, t_s, tuple(channels), _started(read, mapping), read.frequency or None, tuple(notes)
    )


def data_file(path: Path) -> Path:
    """The data file beside a configuration. Raises FileFault."""
    found = sorted(f for f in path.parent.iterdir() if f.stem == path.stem and f.suffix.lower() == ".dat")
    if not found:
        raise FileFault([Flaw(str(path), 0, 0, f"its data file {path.stem}.dat is not beside it")])
    return found[0]


def _parts(path: Path) -> _Parts:
    if path.suffix.lower() == ".cff":
        return _parts_of_one(path)
    data = data_file(path)
    return _Parts(_lines(path.read_bytes()), 0, data.read_bytes(), data)


def _parts_of_one(path: Path) -> _Parts:
    """The sections of a CFF, each under its header line."""
    whole = path.read_bytes()
    heads = list(HEADER.finditer(whole))
    config, data, line, data_line = None, None, 0, 0
    for k, head in enumerate(heads):
        kind = head[1].upper()
        begin = whole.find(b"\n", head.start()) + 1
        if kind == b"CFG" and config is None:
            end = heads[k + 1].start() if k + 1 < len(heads) else len(whole)
            config, line = _lines(whole[begin:end]), whole.count(b"\n", 0, begin)
        elif kind == b"DAT":
            data, data_line = whole[begin:], whole.count(b"\n", 0, begin)
            break
    if config is None or data is None:
        missing = "CFG" if config is None else "DAT"
        raise FileFault([Flaw(str(path), 0, 0, f"has no line '--- file type: {missing} … ---'; is it a CFF file?")])
    return _Parts(config, line, data, path, data_line)


def _data_lines(parts: _Parts) -> list[str]:
    text = parts.data.decode("utf-8", "replace").replace("\x1a", "")
    return [line for line in text.splitlines() if line.strip()]


def _lines(data: bytes) -> list[str]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    return text.splitlines()


def read_form(lines: list[str]) -> str:
    """The data form that a checked configuration names."""
    return next(word for word in (line.strip().upper() for line in lines) if word in FORM_WORDS)


WHOLE_SECOND = re.compile(r"(,\s*\d{1,2}:\d{2}:\d{1,2})$")  # which the library does not expect
FORM_WORDS = ("ASCII", "BINARY", "BINARY32", "FLOAT32")


def _bad_data(parts: _Parts, form: str, fault: Exception) -> FileFault:
    """The first line of ASCII data that cannot be a sample; of the other forms only that they cannot be read."""
    if form == "ASCII":
        first = 1 + parts.data_first_line
        analog, status = (int(n[:-1]) for n in parts.text[1].replace(" ", "").split(",")[1:3])
        for number, line in enumerate(parts.data.decode("utf-8", "replace").replace("\x1a", "").splitlines(), first):
            cells = [cell.strip() for cell in line.split(",")]
            if not line.strip():
                continue
            wanted = 2 + analog + status
            if len(cells) != wanted:
                text = (
                    f"{len(cells)} fields, expected {wanted}: number, time, {analog} analog and {status} status values"
                )
                return FileFault([Flaw(str(parts.data_path), number, 1, text, line)])
            for place, cell in enumerate(cells, 1):
                if not re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", cell) and not (place == 2 and not cell):
                    return FileFault([Flaw(str(parts.data_path), number, place, f"{quoted(cell)} is no number", line)])
    return FileFault([Flaw(str(parts.data_path), 0, 0, f"cannot be read as {form} data: {fault}")])


def _samples(read: Any, parts: _Parts, form: str, notes: list[str]) -> int:
    """How many samples are really in the data. The library fills up with zeros what the configuration announces."""
    config = read.cfg
    if form == "ASCII":
        here = sum(1 for line in parts.data.splitlines() if line.strip(b" \t\r\n\x1a"))
    else:
        each = 8 + config.analog_count * (2 if form == "BINARY" else 4) + 2 * math.ceil(config.status_count / 16)
        here = len(parts.data) // each
    announced = int(read.total_samples)
    if here < announced:
        notes.append(f"the data end after {here} of {announced} samples")
    if min(here, announced) < 2:
        raise FileFault([Flaw(str(parts.data_path), 0, 0, f"has {here} samples of {announced}")])
    return min(here, announced)


def _check_announced(parts: _Parts, form: str) -> None:
    """Raise FileFault where a configuration announces far more than there is: memory is taken by what it says."""
    channels = int(parts.text[1].split(",")[0])
    rates = 3 + channels  # the line of their number
    last = rates + max(1, int(float(parts.text[rates])))
    announced = int(float(parts.text[last].split(",")[1]))
    shortest = 2 * (2 + channels) if form == "ASCII" else 8  # bytes of a sample
    if announced * channels > MANY_VALUES and announced > 2 * (len(parts.data) // shortest + 1):
        text = f"{announced} samples are announced, but {quoted(parts.data_path.name)} is far too short for them"
        raise FileFault([Flaw(str(parts.data_path), 0, 0, text)])


def _values(read: Any, k: int, here: int, factor: float) -> "array[float]":
    return array("d", [v * factor if abs(v) < LARGEST else math.nan for v in read.analog[k][:here]])


def _recognised(read: Any, here: int, notes: list[str]) -> list[Channel]:
    """The channels whose unit and phase say what they are."""
    found, taken = [], set()
    coarse = _coarse(read)
    for k, analog in enumerate(read.cfg.analog_channels):
        unit = next((u for u in UNITS if u.lower() == analog.uu.strip().lower() and u != "mV"), None)
        of = _phase(analog)
        quantity, factor = UNITS.get(unit or "", (None, 1.0))
        wave = quantity in (Quantity.VOLTS, Quantity.AMPS)
        name = analog.name.strip() or f"channel {k + 1}"
        if quantity is None or (wave and not of) or (quantity, of) in taken:
            why = (
                f"unit {quoted(analog.uu.strip())}"
                if quantity is None
                else "phase not recognised"
                if not of
                else "a second one"
            )
            notes.append(f"{name} is left out ({why}); a mapping can say what it is")
            continue
        taken.add((quantity, of))
        factor *= _to_primary(analog, quantity, name, notes)
        found.append(Channel(name, quantity, of if wave else "", wave and not coarse, _values(read, k, here, factor)))
    if coarse and found:
        notes.append("fewer than 8 samples a cycle: taken as values, not as waveforms")
    return found


def _coarse(read: Any) -> bool:
    rate = max((rate for rate, _ in read.cfg.sample_rates), default=0.0)
    return 0.0 < rate < FEWEST * (read.frequency or 50.0)


def _to_primary(analog: Any, quantity: Quantity, name: str, notes: list[str]) -> float:
    """Of values that a channel gives on the secondary side of its transformer."""
    if quantity not in (Quantity.VOLTS, Quantity.AMPS) or analog.pors.strip().upper() != "S":
        return 1.0
    if not (analog.primary > 0.0 and analog.secondary > 0.0):
        return 1.0
    if analog.primary != analog.secondary:
        notes.append(
            f"{name}: secondary values, taken to the primary side times {analog.primary:g} / {analog.secondary:g}"
        )
    return float(analog.primary / analog.secondary)


def _phase(analog: Any) -> str:
    word = analog.ph.strip().upper().replace("-", "").replace("L1L2", "12").replace("L2L3", "23").replace("L3L1", "31")
    if word in PHASE_WORDS or word in PAIR_WORDS:
        return PHASE_WORDS.get(word) or PAIR_WORDS[word]
    named = IN_NAME.match(analog.name)
    if word or not named:
        return ""
    short = named[1].upper().replace("-", "").replace("L", "")
    return PAIR_WORDS.get(short) or PHASE_WORDS.get(short) or PHASE_WORDS.get(f"L{short}", "")


def _mapped(path: Path, read: Any, mapping: Mapping, here: int, notes: list[str]) -> list[Channel]:
    """The channels that a mapping names, by name or number among the analog ones."""
    names = [analog.name.strip() for analog in read.cfg.analog_channels]
    found = []
    for column in mapping.columns:
        if column.column in names:
            k = names.index(column.column)
        elif column.column.isdecimal() and 1 <= int(column.column) <= len(names):
            k = int(column.column) - 1
        else:
            text = f"{path.name} has no analog channel {quoted(column.column)}{nearest(column.column, names)}"
            raise FileFault([Flaw(mapping.path, column.line, 1 if column.line else 0, text)])
        factor = column.factor * _to_primary(read.cfg.analog_channels[k], column.quantity, names[k], notes)
        values = _values(read, k, here, factor)
        found.append(Channel(names[k], column.quantity, column.of, column.waveform, values, column.window_s))
    return found


def _started(read: Any, mapping: Mapping | None) -> datetime | None:
    """The clock at the first sample, with the zone that the file or the mapping names."""
    started: datetime = read.start_timestamp
    if started.year < 1970:
        return None
    if mapping and mapping.zone:
        return datetime.fromisoformat(started.isoformat() + mapping.zone)
    code = re.fullmatch(r"([-+]?)(\d{1,2})(?:h(\d{2}))?", str(getattr(read.cfg, "_time_code", "") or "").strip())
    if code is None:
        return started
    offset = timedelta(hours=int(code[2]), minutes=int(code[3] or 0))
    return started.replace(tzinfo=timezone(-offset if code[1] == "-" else offset))
