"""Programs from outside Python: a test that needs one is skipped by name where it is missing, but not in CI."""

import os
import shutil

import pytest

ALL = "BENCHCTL_NEEDS_ALL"


def needs(program: str) -> pytest.MarkDecorator:
    """A mark for tests that need a program; with BENCHCTL_NEEDS_ALL set (as in CI) nothing is skipped."""
    missing = shutil.which(program) is None and not os.environ.get(ALL)
    return pytest.mark.skipif(missing, reason=f"needs {program}")
