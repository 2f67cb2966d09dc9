"""Beginning a run: its file first, made in another thread, then the engine's settings, then its first frame.

One run begins at a time, and no program starts meanwhile: whoever starts one gets the one whose cautions he has read.
"""

import asyncio
import time
from collections.abc import Callable
from typing import Any

from benchctl.controller.owner import Owner
from benchctl.controller.session import Run, Session
from benchctl.controller.terms import Terms
from benchctl.core.decision import Settings
from benchctl.door.server import Rejected
from benchctl.files import SourceFile
from benchctl.record.fault import RecordFault

AGAIN_S = 30.0  # from a record that could not be made to the next try that nobody has asked for


class Beginning:
    """Lives in the loop of the clients. answer_s: longest wait for a scan."""

    def __init__(
        self, terms: Terms, owner: Owner, session: Session, log: Callable[[str], None], answer_s: float
    ) -> None:
        self._terms, self._owner, self._session, self._log, self._answer_s = terms, owner, session, log, answer_s
        self.lock = asyncio.Lock()
        self._awaited: tuple[Settings, asyncio.Future[None]] | None = None
        self._again_s = 0.0
        self._later: set[asyncio.Task[None]] = set()

    def frame(self, settings: Settings) -> None:
        """A scan has been decided by these settings."""
        if self._awaited is not None and self._awaited[0] is settings and not self._awaited[1].done():
            self._awaited[1].set_result(None)

    def soon(self, why: str) -> None:
        """See to it that there is a record. Nobody waits for it; that there is none is told, and tried again later."""
        if self._session.current is None and not self.lock.locked() and time.monotonic() >= self._again_s:
            task = asyncio.get_running_loop().create_task(self._soon(why))
            self._later.add(task)
            task.add_done_callback(self._later.discard)

    async def by_hand(self, who: str) -> None:
        """A run without a program, if none is in hand. Raises Rejected."""
        settings = Settings.of(self._terms.site, None, self._terms.scan_period_s)
        async with self.lock:
            if self._session.current is None:
                await self._begin(settings, (), who, lambda: "")

    async def chosen(
        self, settings: Settings, files: tuple[SourceFile, ...], who: str, barred: Callable[[], str]
    ) -> Run:
        """A run of a program, or the one in hand. files: the program's own, and those of the rule sets it names.

        Raises Rejected, also while `barred` says why none must begin now.
        """
        async with self.lock:
            run = self.in_hand(files[0])
            if run is not None:
                return run
            why = barred()
            if why:
                raise Rejected(why)
            return await self._begin(settings, files, who, barred)

    def in_hand(self, program: SourceFile) -> Run | None:
        """The run of this very program, chosen or started."""
        run = self._session.current
        return run if run is not None and run.program_sha256 == program.sha256 and not run.over else None

    async def _soon(self, why: str) -> None:
        try:
            await self.by_hand(why)
        except Rejected as fault:
            self._again_s = time.monotonic() + AGAIN_S
            self._log(f"not recorded: {fault}")

    async def _begin(
        self, settings: Settings, files: tuple[SourceFile, ...], who: str, barred: Callable[[], str]
    ) -> Run:
        try:
            run = await asyncio.to_thread(self._session.make, settings, files, {"begun_by": who})
        except RecordFault as fault:
            raise Rejected(f"no record can be started: {fault}") from None
        except OSError as fault:
            where = fault.filename or self._terms.runs
            raise Rejected(f"no record can be started: {where}: {fault.strerror or fault}") from None
        awaited: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._awaited = settings, awaited
        try:
            self._hand_over(run, barred())  # things may have changed while the disk worked
        except Rejected:
            self._session.discard(run)
            raise
        try:
            await asyncio.wait_for(awaited, self._answer_s)
        except TimeoutError:
            raise Rejected("no scan has begun the run") from None
        return run

    def _hand_over(self, run: Run, why_not: str) -> None:
        """The engine's scans belong to this run from the next on. Raises Rejected."""
        if why_not:
            raise Rejected(why_not)

        def take(engine: Any) -> None:
            self._session.expect(run)
            engine.rebase(run.settings)

        try:
            self._owner.between_scans(take)
        except RuntimeError as fault:
            raise Rejected(str(fault)) from None
