"""Faults that end a verb, told in a line or a few: file errors with their place, the rest without a traceback."""

import os
import tempfile
import traceback

from benchctl.cli import FAULT, USAGE
from benchctl.cli.voice import Voice


def explain(fault: Exception, voice: Voice) -> int:
    """Tell the user about a fault. Returns the exit code: whether files and usage are at fault, or benchctl itself."""
    if isinstance(fault, _told_in_words()):
        for line in str(fault).splitlines():
            voice.narrate(line)
        return USAGE
    if isinstance(fault, OSError) and fault.filename is not None:
        voice.narrate(f"{fault.filename}: {os.strerror(fault.errno) if fault.errno else fault}")
        return USAGE
    voice.narrate(f"a fault of benchctl itself: {type(fault).__name__}: {fault}; {_kept(fault)}")
    return FAULT


def _told_in_words() -> tuple[type[Exception], ...]:
    """Faults whose text is meant for people."""
    from benchctl.claim import ClaimFault
    from benchctl.controller.spawn import StartFault
    from benchctl.door.card import CardFault
    from benchctl.files import FileFault
    from benchctl.folders import FolderFault
    from benchctl.record.fault import RecordFault

    return FileFault, FolderFault, ClaimFault, CardFault, RecordFault, StartFault


def _kept(fault: Exception) -> str:
    """Where the details were put, in words."""
    try:
        handle, path = tempfile.mkstemp(prefix="benchctl-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as report:
            traceback.print_exception(fault, file=report)
    except OSError as full:
        return f"details for its makers could not be kept: {full.strerror}"
    return f"details for its makers: {path}"
