"""Whether a test that a row names is there: as the function that pytest would collect under that node id."""

from importlib import import_module
from pathlib import Path
from types import FunctionType

ROOT = Path(__file__).parents[2]


def missing(node: str) -> str:
    """Why pytest would not collect and run a node id; empty when it would. Skips for want of a program count not."""
    path, _, name = node.partition("::")
    file = ROOT / path
    if not file.is_file():
        return f"{path} is not there"
    if not (path.startswith("tests/") and file.name.startswith("test_") and file.suffix == ".py"):
        return f"{path} is no file that pytest looks into"
    found = getattr(import_module(path.removesuffix(".py").replace("/", ".")), name, None)
    if not name.startswith("test_") or not isinstance(found, FunctionType):
        return f"{path} has no test {name}"
    marks = {mark.name for mark in getattr(found, "pytestmark", ())}
    return f"{name} is marked {', '.join(sorted(marks & {'skip', 'xfail'}))}" if marks & {"skip", "xfail"} else ""
