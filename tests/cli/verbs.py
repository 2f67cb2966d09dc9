"""A verb run as the command line runs it: exit code, standard output, standard error."""

import json
from typing import Any

import pytest

from benchctl.cli import main


class Verbs:
    """Runs verbs one after the other."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def __call__(self, *words: object) -> tuple[int, str, str]:
        self._capsys.readouterr()
        code = main([str(word) for word in words])
        return code, *self._capsys.readouterr()

    def rows(self, *words: object) -> tuple[int, list[dict[str, Any]], str]:
        """With --json: the objects of standard output."""
        name, *rest = words
        code, out, said = self(name, "--json", *rest)
        return code, [json.loads(line) for line in out.splitlines()], said
