"""Runs are judged one after the other, beside the screen; asked again, again; nothing is left behind."""

import asyncio
from typing import Any

from benchctl.door import messages as m
from benchctl.tui.extras import Extras
from benchctl.tui.judging import KEPT, WAITS, Judging
from benchctl.tui.view.picture import Page, Picture
from tests.tui.desk import desk, until_so

SET = {"rule_set": "monthly", "standing": "not met", "rules": (), "title": "Monthly"}


class Judge:
    """Judges when it is let; keeps what it was asked."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, tuple[str, ...]]] = []
        self.free = asyncio.Event()
        self.free.set()
        self.condition = "closed"
        self.fails = ""

    async def __call__(self, run: str, by: tuple[str, ...]) -> dict[str, Any]:
        self.asked.append((run, by))
        await self.free.wait()
        if self.fails:
            raise OSError(self.fails)
        return {"condition": self.condition, "sealed": True, "sets": [SET | {"title": f"\x1b[31m{run}"}]}


def made(judge: Judge) -> tuple[Judging, Picture, list[str]]:
    picture, told = Picture(), list[str]()
    return Judging(picture, Extras(verdicts=judge), lambda: None, told.append), picture, told


async def test_runs_are_judged_in_their_order_by_what_is_picked_and_their_words_are_clean():
    judge = Judge()
    judging, picture, told = made(judge)
    picture.rule_sets = ("mine",)
    judge.free.clear()
    judging.ask("one")
    judging.ask("two")
    assert picture.judged["two"]["state"] == WAITS
    judge.free.set()
    await until_so(lambda: told == ["one", "two"])
    assert judge.asked == [("one", ("mine",)), ("two", ("mine",))]
    assert picture.judged["one"]["sets"][0]["title"] == "?[31mone"
    assert "state" not in picture.judged["one"]


async def test_a_run_that_is_asked_for_again_meanwhile_is_judged_again_and_told_once():
    judge = Judge()
    judging, picture, told = made(judge)
    judge.free.clear()
    judging.ask("one")
    await until_so(lambda: judge.asked)
    picture.rule_sets = ("mine",)
    judging.ask("one")
    judge.free.set()
    await until_so(lambda: told == ["one"])
    assert judge.asked == [("one", ()), ("one", ("mine",))]


async def test_a_record_to_which_nothing_is_added_is_judged_once_and_one_that_grows_each_time():
    judge = Judge()
    judging, _, told = made(judge)
    judging.ask("one", again=False)
    await until_so(lambda: told == ["one"])
    judging.ask("one", again=False)
    judge.condition = "being written"
    judging.ask("two", again=False)
    await until_so(lambda: told == ["one", "two"])
    judging.ask("two", again=False)
    await until_so(lambda: told == ["one", "two", "two"])
    assert [run for run, _ in judge.asked] == ["one", "two", "two"]


async def test_what_fails_is_told_and_can_be_asked_again():
    judge = Judge()
    judging, picture, told = made(judge)
    judge.fails = "no more processes"
    judging.ask("one")
    await until_so(lambda: told)
    assert picture.judged["one"] == {"fault": "no more processes"}
    judging.ask("one", again=False)
    await until_so(lambda: len(told) == 2)


async def test_no_more_runs_are_kept_than_a_person_looks_at():
    judging, picture, told = made(Judge())
    for n in range(KEPT + 5):
        judging.ask(f"run {n}")
    await until_so(lambda: f"run {KEPT + 4}" in told)
    assert len(picture.judged) <= KEPT


async def test_closing_ends_what_is_being_judged():
    judge = Judge()
    judging, _, told = made(judge)
    judge.free.clear()
    judging.ask("one")
    await until_so(lambda: judge.asked)
    await judging.close()
    assert told == []


def outcome(text: str, run: str) -> m.Event:
    return m.Event(number=9, wall_s=1.0, what="outcome", text=text, data={"run": run, "outcome": text})


async def test_a_run_that_ends_is_judged_by_itself_and_that_is_said():
    judge = Judge()
    async with desk(extras=Extras(verdicts=judge)) as d:
        d.host.tell(outcome("completed", "/srv/runs/quay-ladder.run"))
        await d.until(lambda: "monthly: not met" in d.hint)
        assert judge.asked == [("quay-ladder", ())]
        await d.press("2")
        assert "× not met" in d.text
        await d.press("enter")
        assert "Verdicts on quay-ladder" in d.text
        await d.press("escape")
        assert "Verdicts on quay-ladder" not in d.text
        assert d.console.picture.cursor.page is Page.PROGRAM
        await d.press("escape")
        assert "readback" in d.text


async def test_a_run_of_a_program_that_was_never_started_is_not_judged():
    judge = Judge()
    async with desk(extras=Extras(verdicts=judge)) as d:
        d.host.tell(outcome("not started", "/srv/runs/quay-ladder.run"))
        await d.until(lambda: d.console.picture.story.events)
        assert judge.asked == []
        assert d.console.picture.ended == ""


async def test_a_past_run_is_judged_when_it_is_opened_and_enter_shows_its_rules():
    judge = Judge()

    async def runs() -> list[dict[str, Any]]:
        return [{"run": "old", "started": "2026-11-25T09:00"}]

    async def run(name: str) -> dict[str, Any]:
        return {"run": name, "outcome": "completed", "condition": "closed", "events": []}

    async with desk(extras=Extras(runs=runs, run=run, verdicts=judge)) as d:
        await d.press("6")
        await d.until(lambda: "2026-11-25" in d.text)
        await d.press("enter")
        await d.until(lambda: "× not met" in d.text)
        await d.press("enter")
        assert "Verdicts on old" in d.text
        await d.press("w")
        assert d.console.picture.cursor.working
        await d.press("enter")
        assert "Verdicts on old" not in d.text
        assert judge.asked == [("old", ())]


async def test_rule_sets_that_are_picked_on_an_open_run_judge_it_anew():
    judge = Judge()

    async def runs() -> list[dict[str, Any]]:
        return [{"run": "old", "started": "2026-11-25T09:00"}]

    async def run(name: str) -> dict[str, Any]:
        return {"run": name, "outcome": "completed", "condition": "closed", "events": []}

    lent = Extras(runs=runs, run=run, verdicts=judge, rule_sets=lambda: [("mine", "My own")])
    async with desk(extras=lent) as d:
        await d.press("6")
        await d.until(lambda: "2026-11-25" in d.text)
        await d.press("enter")
        await d.until(lambda: judge.asked)
        await d.press("j")
        assert "[ ] mine" in [p.label for p in d.form.sheet.picks]
        await d.press("enter")
        await d.until(lambda: judge.asked == [("old", ()), ("old", ("mine",))])
        await d.until(lambda: "[x] mine" in [p.label for p in d.form.sheet.picks])
