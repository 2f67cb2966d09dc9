"""Runs judged from their records, one after the other, beside screen and scan (see `cli/verdicts.py`)."""

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from benchctl.tui.fetch import cleaned
from benchctl.tui.view.picture import Picture

if TYPE_CHECKING:
    from benchctl.tui.extras import Extras

KEPT = 20  # runs whose verdicts are kept
WAITS = "judging the record …"
WHOLE = ("closed", "interrupted")  # conditions of a record to which nothing is added


class Judging:
    """Of one console. changed: called when the picture has changed; told: when a run has been judged, with its name."""

    def __init__(
        self, picture: Picture, extras: "Extras", changed: Callable[[], None], told: Callable[[str], None]
    ) -> None:
        self._picture, self._extras, self._changed, self._told = picture, extras, changed, told
        self._wanted: dict[str, None] = {}  # in the order of being asked for
        self._task: asyncio.Task[None] | None = None

    def ask(self, run: str, *, again: bool = True) -> None:
        """Judge this run. again: also where that has been done and its record does not change any more."""
        judged = self._picture.judged
        known = judged.get(run, {})
        done = bool(known.get("state")) or known.get("condition") in WHOLE
        if self._extras.verdicts is None or not run or (done and not again):
            return
        self._keep(run, {**known, "state": WAITS})
        self._wanted[run] = None
        if self._task is None or self._task.done():
            self._task = asyncio.get_running_loop().create_task(self._work())
        self._changed()

    async def close(self) -> None:
        """Judge nothing any more."""
        self._wanted.clear()
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)

    async def _work(self) -> None:
        while self._wanted:
            run = next(iter(self._wanted))
            del self._wanted[run]
            found = await self._judged(run)
            if run not in self._wanted:  # asked again meanwhile: by other rule sets
                self._keep(run, found)
                self._told(run)
                self._changed()

    def _keep(self, run: str, found: dict[str, Any]) -> None:
        """As the newest of those that are kept."""
        judged = self._picture.judged
        judged.pop(run, None)
        judged[run] = found
        while len(judged) > KEPT:
            del judged[next(iter(judged))]

    async def _judged(self, run: str) -> dict[str, Any]:
        assert self._extras.verdicts is not None
        try:
            found: dict[str, Any] = cleaned(await self._extras.verdicts(run, self._picture.rule_sets))
        except (OSError, ValueError) as fault:
            return {"fault": cleaned(str(fault))}
        return found
