"""The runs of a controller, one after the other: each has settings and a record of its own.

A run begins before the first order that may switch anything, or when load is found on, and never while the scan waits
for a disk: its file is made in another thread, and the engine takes over its settings between two scans. It ends when
the bench is done with it, when the next one begins, or when the controller ends; it is closed in another thread too.
"""

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from benchctl.controller.terms import Terms
from benchctl.core.decision import Frame, Settings
from benchctl.core.inputs import Recorder as Health
from benchctl.core.site import Site
from benchctl.core.state import Mode, State
from benchctl.files import FileFault, read_rule_set
from benchctl.files.shelf import SourceFile
from benchctl.record.fault import RecordFault
from benchctl.record.live import LiveRecorder
from benchctl.record.recorder import Recorder
from benchctl.record.runs import new_run
from benchctl.tally import Tally

QUIET_S = 60.0  # without load, order and cool-down: then a run in which nothing goes on is over
GONE_S = 60.0  # without any answer, beyond the watchdogs' time: then a run is over
CHOSEN_S = 3600.0  # likewise, of a program that is chosen and not started: cautions are read, banks are walked to
CHOICE_MODES = (Mode.IDLE, Mode.DONE, Mode.COOL)  # in which a program may be chosen

Told = Callable[[dict[str, Any]], None]


@dataclass(slots=True)
class Run:
    """One execution of a program, or a session by hand, with its record."""

    settings: Settings
    recorder: Recorder
    tally: Tally
    program_sha256: str = ""
    begun_s: float | None = None  # of the bench's time
    begun_real_s: float = 0.0
    worked: bool = False  # the bench was not done when it began, or has been at work since
    met: bool = False  # a unit was there when it began, or has been since
    started: bool = False  # its program, or a load by hand that had to be taken off
    loaded: bool = False  # it has had load on, or may have had
    quiet_s: float = 0.0
    last: Frame | None = None

    def write(self, frame: Frame) -> None:
        """Record and count a frame."""
        if self.begun_s is None:
            self.begun_s, self.begun_real_s = frame.inputs.now_s, time.monotonic()
        self.last = frame
        mode = frame.decision.state.mode
        self.worked = self.worked or mode is not Mode.DONE
        self.met = self.met or not chain_gone(frame, self.settings.site)
        self.started = self.started or mode not in CHOICE_MODES
        self.loaded = self.loaded or frame.decision.seen.loaded
        self.recorder.write(frame)
        self.tally(frame)
        self.quiet_s = self.quiet_s + frame.inputs.dt_s if at_rest(frame) else 0.0

    @property
    def begun(self) -> bool:
        """True when the bench has been at work in it, and not only with what was before: a cool-down, an outcome."""
        return self.started if self.settings.program else self.worked

    @property
    def over(self) -> bool:
        """True when the bench is done with it."""
        if self.last is None:
            return False
        done = self.begun and self.last.decision.state.mode is Mode.DONE and at_rest(self.last)
        gone = self.met and chain_gone(self.last, self.settings.site, GONE_S)
        patience_s = CHOSEN_S if self.settings.program and not self.started else QUIET_S
        return done or gone or self.quiet_s >= patience_s

    def totals(self) -> dict[str, Any]:
        """The figures that its end tells."""
        tally = self.tally
        return {
            "virtual_s": round(tally.virtual_s - (self.begun_s or 0.0), 3),
            "planned_peak_kw": round(self.settings.peak_kw, 3),
            "delivered_peak_kw": None if tally.peak_kw is None else round(tally.peak_kw, 3),
            "delivered_from": tally.peak_from,
            "cool_down_s": round(tally.cool_down_s, 3),
            "trips": tally.trips,
            "events": tally.events,
        }

    def outcome(self) -> str:
        """One word or two for how it ended, or for where it was broken off."""
        if self.last is None:
            return "not started"
        state = self.last.decision.state
        if self.last.fault:
            return "fault"
        if chain_gone(self.last, self.settings.site):
            return "chain lost"
        if not self.begun or (not state.outcome and state.mode is Mode.IDLE):
            return "not started" if self.settings.program else "by hand"
        if state.outcome in ("", "completed") and owes(state):
            return "not cool"
        return state.outcome or state.after_unload or "interrupted"


def owes(state: State) -> bool:
    """True while a unit that is ours must go on cooling."""
    return bool(state.charge) and any(u.hot and u.joined for u in state.units)


def at_rest(frame: Frame) -> bool:
    """True when no load is on or asked for and no cool-down is owed: nothing is left to watch."""
    state = frame.decision.state
    waiting = state.mode in (Mode.IDLE, Mode.DONE) and state.target_kw <= 0.0
    return waiting and not frame.decision.seen.loaded and not owes(state)


def _rule_set_files(settings: Settings, files: tuple[SourceFile, ...]) -> tuple[SourceFile, ...]:
    """The rule sets that the program names and that are not among the files: the run is judged by them as they are now.

    Raises RecordFault.
    """
    there = {file.ref for file in files if file.kind == "ruleset"}
    named = settings.program.rule_sets if settings.program else ()
    try:
        return tuple(read_rule_set(name)[1] for name in named if name not in there)
    except FileFault as fault:
        raise RecordFault(f"a rule set that the program names cannot be read: {fault}") from None


def chain_gone(frame: Frame, site: Site, beyond_s: float = 0.0) -> bool:
    """True when every unit that was ever heard is lost, for so much longer than its watchdog takes."""
    state = frame.decision.state
    watchdogs_s = [u.profile.watchdog.time_s if u.profile.watchdog else 0.0 for u in site.units]
    met = [(u, watchdog_s) for u, watchdog_s in zip(state.units, watchdogs_s, strict=True) if u.heard]
    return bool(state.charge and met) and all(u.lost and u.age_s > watchdog_s + beyond_s for u, watchdog_s in met)


@dataclass(slots=True)
class Session:
    """A listener, and the recorder's health. `told` gets the outcome of each run that is closed, in a thread."""

    terms: Terms
    told: Told
    current: Run | None = None
    _next: Run | None = None
    _broken: bool = False  # frames do not reach the records any more
    _closing: list[threading.Thread] = field(default_factory=list)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def health(self) -> Health:
        """Of the record of the run in hand; none is written while nothing goes on."""
        if self._broken:
            return Health.FAILED
        run = self.current
        return run.recorder.health if run else Health.ABSENT

    def make(self, settings: Settings, files: tuple[SourceFile, ...], meta: Mapping[str, str]) -> Run:
        """The file of a run that is about to begin. Takes the time of a disk. Raises RecordFault."""
        program = settings.program.name if settings.program else ""
        self.terms.runs.mkdir(parents=True, exist_ok=True)
        path = new_run(self.terms.runs, settings.site.name, program, datetime.now().astimezone())
        kept = (*self.terms.site_files, *files, *_rule_set_files(settings, files))
        recorder = (
            Recorder(path, settings, meta, kept)
            if self.terms.rehearsal
            else LiveRecorder(path, settings, meta, kept, reserve_bytes=self.terms.reserve_bytes)
        )
        return Run(settings, recorder, Tally(settings), next((f.sha256 for f in files if f.kind == "program"), ""))

    def expect(self, run: Run) -> None:
        """The engine will soon decide with the settings of this run. In the engine's thread."""
        if self._next is not None:
            self._close(self._next)
        self._next = run

    def write(self, frame: Frame, settings: Settings) -> None:
        """Record a frame in the run that it belongs to. In the engine's thread, which goes on without us if we fail."""
        try:
            self._write(frame, settings)
        except BaseException:
            self._broken = True
            raise

    def _write(self, frame: Frame, settings: Settings) -> None:
        if self._next is not None and self._next.settings is settings:
            if self.current is not None:
                self._close(self.current)
            self.current, self._next = self._next, None
        if self.current is not None:
            self.current.write(frame)
            if self.current.over:
                run, self.current = self.current, None
                self._close(run)

    def discard(self, run: Run) -> None:
        """Close a run that will not begin. In any thread."""
        self._close(run)

    def end(self) -> None:
        """Close what is open and wait for all that is being closed. After the engine's last scan."""
        for run in (self.current, self._next):
            if run is not None:
                self._close(run)
        self.current = self._next = None
        with self._lock:  # what is noted there has been started
            closing = tuple(self._closing)
        for thread in closing:
            thread.join()

    def _close(self, run: Run) -> None:
        thread = threading.Thread(target=self._seal, args=(run,), name="closing a record")
        with self._lock:
            self._closing = [*(t for t in self._closing if t.is_alive()), thread]
            thread.start()

    def _seal(self, run: Run) -> None:
        outcome, totals = run.outcome(), run.totals()
        wall_s = 0.0 if run.begun_s is None else round(time.monotonic() - run.begun_real_s, 3)
        sealed = run.recorder.close(outcome, totals)
        told = {"outcome": outcome, "run": str(run.recorder.path), **totals, "wall_s": wall_s, "sealed": sealed}
        self.told(told | {"problem": "" if sealed else run.recorder.problem})
