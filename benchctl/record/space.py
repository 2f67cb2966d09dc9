"""Is there room on the disk for the record of a run?"""

import shutil
from pathlib import Path

from benchctl.core.decision import Settings

# Measured on chains of 5 to 11 devices: about 90 bytes of words a device and 280 of figures, hashes and pages a scan;
# where every word moves and every order is a new one, 130 and 650. More than doubled: a run in trouble tells more.
# SQLite's write-ahead log of a live run grows to 4.1 MB before it is first brought into the record: that is there from
# the start, beside 40 kB of empty tables and the files that the run was made from.
BYTES_A_SCAN, BYTES_A_DEVICE, BYTES_A_RUN = 1200, 300, 5_000_000


def needed_bytes(settings: Settings, run_s: float) -> int:
    """The most that the record of a run of that length takes while it is written; estimated."""
    devices = len(settings.site.units) + len(settings.site.instruments)
    return round(BYTES_A_RUN + run_s / settings.scan_period_s * (BYTES_A_SCAN + BYTES_A_DEVICE * devices))


def left_bytes(folder: Path) -> int:
    """Free bytes on the disk of a folder, which need not exist yet. Raises OSError."""
    place = folder.absolute()
    while not place.exists() and place != place.parent:
        place = place.parent
    return shutil.disk_usage(place).free


def short_of_space(folder: Path, settings: Settings, run_s: float, reserve_bytes: int = 0) -> str:
    """What is missing, in words with both figures; empty when the record fits.

    reserve_bytes: of the recorder, which it makes at its start. A disk that does not tell what is free is told of too.
    """
    needed = needed_bytes(settings, run_s) + reserve_bytes
    try:
        left = left_bytes(folder)
    except OSError as fault:
        return f"the record may need {needed / 1e6:.1f} MB, and what is free in {folder} is not known: {fault.strerror}"
    if needed <= left:
        return ""
    return f"the record may need {needed / 1e6:.1f} MB, {left / 1e6:.1f} MB are free in {folder}"
