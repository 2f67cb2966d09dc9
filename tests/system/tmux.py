"""A real terminal: a tmux server of its own, what it shows, and what is typed into it."""

import shlex
import subprocess
import sys
import time

from tests.system.live import ON_S
from tests.system.small import PATIENCE_S, Place, until

COLUMNS = 80
TYPED_S = 0.06  # between two letters of a person; closer ones count as pasted


class Terminal:
    """A tmux server of its own with one window, in which a verb runs, or another command of the shell's."""

    def __init__(
        self, here: Place, name: str, *words: str, size: tuple[int, int] = (COLUMNS, 40), command: str = ""
    ) -> None:
        self._here, self._socket = here, str(here.folder / name)
        verb = shlex.join([sys.executable, "-m", "benchctl", *words])
        command = command or f"{verb}; echo ended with exit code $?; sleep 100"
        width, height = map(str, size)
        self._tmux("-f", "/dev/null", "new-session", "-d", "-x", width, "-y", height, command)

    def _tmux(self, *words: str) -> str:
        return subprocess.run(
            ["tmux", "-S", self._socket, *words], capture_output=True, text=True, check=False, timeout=PATIENCE_S,
            cwd=self._here.folder, env=self._here.env,
        ).stdout  # fmt: skip

    @property
    def screen(self) -> str:
        """All that it has shown, lines that the terminal had to break put together again."""
        return self._tmux("capture-pane", "-p", "-J", "-S", "-500")

    def until(self, words: str, limit_s: float = ON_S) -> None:
        """Until it has shown that, in however many lines."""
        try:
            until(lambda: words in " ".join(self.screen.split()), limit_s, every_s=0.2)
        except AssertionError:
            raise AssertionError(f"not shown within {limit_s:.0f} s: {words}\n{self.screen}") from None

    def press(self, *keys: str) -> None:
        """Keys by their tmux names, as far apart as a person's."""
        for key in keys:
            self._tmux("send-keys", key)
            time.sleep(TYPED_S)

    def type(self, text: str) -> None:
        """Letters, one after the other, as a person types them."""
        for letter in text:
            self._tmux("send-keys", "-l", letter)
            time.sleep(TYPED_S)

    def paste(self, text: str) -> None:
        """A paste, bracketed where the program has asked for that."""
        self._tmux("set-buffer", text)
        self._tmux("paste-buffer", "-p")

    def resize(self, width: int, height: int) -> None:
        """Another size of the window."""
        self._tmux("resize-window", "-x", str(width), "-y", str(height))

    @property
    def shell(self) -> int:
        """The process in the window."""
        return int(self._tmux("list-panes", "-F", "#{pane_pid}"))

    def close(self) -> None:
        """Close the window, as its cross does."""
        self._tmux("kill-server")
