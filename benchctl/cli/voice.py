"""Where the command line's words go: data to standard output, narration to standard error."""

import json
import sys
from collections.abc import Mapping
from typing import Any


class Voice:
    """Writes one verb's output. With json_lines, `row` prints objects and `text` prints nothing."""

    def __init__(self, json_lines: bool) -> None:
        self.json_lines = json_lines

    def row(self, data: Mapping[str, Any]) -> None:
        """One JSON object on one line of standard output, only with --json. NaN is refused: missing is null."""
        if self.json_lines:
            print(json.dumps(data, ensure_ascii=False, allow_nan=False), flush=True)

    def text(self, line: str = "") -> None:
        """A line for people on standard output, only without --json."""
        if not self.json_lines:
            print(line, flush=True)

    def narrate(self, line: str) -> None:
        """A line for people on standard error, always."""
        print(line, file=sys.stderr, flush=True)
