"""`benchctl run` in a real terminal, 80 columns wide: what an operator sees, types and presses."""

import shlex
import subprocess
import sys

import pytest

from tests.needs import needs
from tests.system.live import ON_S, fans_on, loaded, log, quiet, truths
from tests.system.small import PATIENCE_S, Place, place, short_program, until

pytestmark = [pytest.mark.slow, needs("tmux")]
COLUMNS = 80


class Terminal:
    """A tmux server of its own with one window, in which a verb runs."""

    def __init__(self, here: Place, name: str, *words: str) -> None:
        self._here, self._socket = here, str(here.folder / name)
        command = f"{shlex.join([sys.executable, '-m', 'benchctl', *words])}; echo ended with exit code $?; sleep 100"
        self._tmux("-f", "/dev/null", "new-session", "-d", "-x", str(COLUMNS), "-y", "40", command)

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
        """Keys by their tmux names."""
        self._tmux("send-keys", *keys)

    def close(self) -> None:
        """Close the window, as its cross does."""
        self._tmux("kill-server")


@pytest.fixture
def here(tmp_path):
    with place(tmp_path, more="") as made:
        text = made.site.read_text().replace("settle_s: 1}", "settle_s: 1, unload_step_percent: 5, unload_step_s: 3}")
        assert "unload_step_s" in text
        made.site.write_text(text)
        made.simulator()
        yield made


def test_an_operator_in_a_terminal_takes_charge_loses_the_window_comes_back_and_presses_ctrl_c_twice(here):
    program = short_program(here.folder, "10 min")
    first = Terminal(here, "first", "run", str(program), "--site", str(here.site))
    try:
        first.until("Type your name to confirm these cautions")
        assert "BEFORE LOAD" in first.screen
        assert "prove phase rotation" in first.screen
        assert quiet(here)
        first.press("Robin", "Enter")
        first.until("segment 2: hold")
        shown = " ".join(first.screen.split("Type your name", 1)[1].split())
        assert "take charge (Robin)" in shown
        assert "waits for airflow is proven at every unit; every unit may be loaded" in shown
        assert shown.index("waits for") < shown.index("all permissives hold") < shown.index("segment 1: ramp")
        until(lambda: loaded(here), ON_S)
    finally:
        first.close()
    until(lambda: "nobody is attached" in log(here), 15.0)
    assert loaded(here)
    second = Terminal(here, "second", "attach", "--operator", "Robin")
    try:
        second.until("returned to normal nobody is attached", 20.0)
        second.press("C-c")
        second.until("Ctrl-C: unloading, then cooling down; to take everything off at once type drop, or use `benchctl")
        second.press("C-c")
        second.until("unloading, ")
        second.until("unloaded all load is off")
        assert quiet(here)
        second.press("C-c")
        second.until("it goes on if you type leave")
        second.press("leave", "Enter")
        second.until("left: the run host goes on")
        second.until("ended with exit code 0")
        assert max(len(line) for line in second.screen.splitlines()) <= COLUMNS
    finally:
        second.close()
    assert fans_on(here)
    assert "drop" not in log(here)
    levels_kw = {round(row["load_kw"]) for row in truths(here)[-600:] if 2.0 < row["load_kw"] < 38.0}
    assert len(levels_kw) >= 2, "it came off at once"
