"""Faults that end a verb, told in a line or a few: file errors with their place, the rest without a traceback."""

import os
import tempfile
import traceback

from benchctl.cli.voice import Voice

USAGE = 2


def explain(fault: Exception, voice: Voice) -> int:
    """Tell the user about a fault and return the exit code 2."""
    from benchctl.files import FileFault

    if isinstance(fault, FileFault):
        for line in str(fault).splitlines():
            voice.narrate(line)
    elif isinstance(fault, OSError) and fault.filename is not None:
        voice.narrate(f"{fault.filename}: {os.strerror(fault.errno) if fault.errno else fault}")
    else:
        handle, path = tempfile.mkstemp(prefix="benchctl-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as report:
            traceback.print_exception(fault, file=report)
        voice.narrate(f"a fault of benchctl itself: {type(fault).__name__}: {fault}; details for its makers: {path}")
    return USAGE
