"""`benchctl run` in a real terminal, 80 columns wide: what an operator sees, types and presses."""

import pytest

from tests.needs import needs
from tests.system.live import ON_S, fans_on, loaded, log, quiet, truths
from tests.system.small import place, short_program, until
from tests.system.tmux import COLUMNS, Terminal

pytestmark = [pytest.mark.slow, needs("tmux")]


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
