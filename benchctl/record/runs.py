"""Where runs live, and what they are called: `SITE-PROGRAM-DATE-TIME.run` in one folder."""

import os
import re
import sys
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from benchctl.folders import data_folder
from benchctl.record.fault import RecordFault

VARIABLE = "BENCHCTL_RUNS"
ENDING = ".run"
LATEST = "latest"


def runs_folder(
    given: str | None = None, variables: Mapping[str, str] = os.environ, platform: str = sys.platform
) -> Path:
    """The folder of the runs: the one given, else $BENCHCTL_RUNS, else in the user's data folder."""
    if given or variables.get(VARIABLE):
        return Path(given or variables[VARIABLE]).expanduser()
    return data_folder(variables, platform) / "runs"


def new_run(folder: Path, site: str, program: str, started: datetime) -> Path:
    """A path for a new run that does not exist yet."""
    name = "-".join(re.sub(r"[^\w.]+", "-", part).strip("-.") for part in (site, program or "by-hand"))
    stem = f"{name}-{started:%Y%m%d-%H%M%S}"
    path, number = folder / f"{stem}{ENDING}", 2
    while path.exists():
        path, number = folder / f"{stem}-{number}{ENDING}", number + 1
    return path


def runs_in(folder: Path) -> list[Path]:
    """All runs of a folder, the oldest first. A folder that does not exist has none."""
    try:
        found = [path for path in folder.iterdir() if path.suffix == ENDING and path.is_file()]
    except OSError:
        return []
    return sorted(found, key=lambda path: (path.stat().st_mtime_ns, path.name))


def find_run(ref: str, folder: Path) -> Path:
    """The run that is meant: a path, a name, part of a name that fits one run only, or "latest".

    Raises RecordFault when none or several are meant.
    """
    as_path = Path(ref).expanduser()
    if as_path.is_file():
        return as_path
    runs = runs_in(folder)
    if ref == LATEST and runs:
        return runs[-1]
    fitting = [run for run in runs if ref == run.stem] or [run for run in runs if ref and ref in run.stem]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise RecordFault(f"{ref!r} means {len(fitting)} runs: {', '.join(run.stem for run in fitting[-8:])}")
    known = ", ".join(run.stem for run in runs[-4:]) or "none"
    raise RecordFault(f"{ref!r}: no such run in {folder} (latest there: {known})")
