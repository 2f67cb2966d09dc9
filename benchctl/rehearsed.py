"""The rehearsed operator: takes charge, starts the program, answers and commands as the scenario says."""

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame, Settings
from benchctl.core.profile import Profile
from benchctl.core.readings import BY_NAME
from benchctl.core.scenario import Answer, Scenario
from benchctl.core.state import Mode

NAME = "operator (rehearsed)"
MEET_S = 30.0  # longest wait for every unit to answer before charge is taken
STUCK_S = 300.0  # how long load that does not go, or a cool-down beyond its alarm, is watched
LOST_S = 60.0  # how long a chain without any contact is waited for
READ_S = 3.0  # from the time a reading is due until it is typed in

# What a set of the usual kind shows at its panel; invented, for what no instrument of the site tells.
USUAL: dict[str, float] = {
    "oil_kpa": 420.0, "oil_c": 95.0, "coolant_c": 84.0, "coolant_kpa": 70.0, "boost_kpa": 120.0, "charge_air_c": 48.0,
    "exhaust_stack_c": 430.0, "exhaust_back_kpa": 4.0, "fuel_percent": 80.0, "fuel_l": 800.0, "fuel_kpa": 350.0,
    "battery_v": 27.2, "room_c": 27.0, "humidity_percent": 55.0, "barometer_kpa": 101.3, "running_h": 212.4,
}  # fmt: skip


class RehearsedOperator:
    """Looks at each frame and says which commands come next. Times are seconds since the rehearsal's start."""

    def __init__(self, settings: Settings, scenario: Scenario) -> None:
        self._settings = settings
        self._answers = tuple(a for a in scenario.answers if a.to)
        self._timed = [a for a in scenario.answers if not a.to]
        self._reached_s: dict[int, float] = {}
        self._prompt: tuple[str, str] | None = None
        self._prompt_s = 0.0
        self._charged = self._started = False
        self._silent_s = 0.0
        self._stuck_s = 0.0  # how long load has not gone although it should
        self.chain_lost = False

    def commands(self, frame: Frame) -> list[Command]:
        """What the operator asks after this frame."""
        now_s, state = frame.inputs.now_s, frame.decision.state
        self._silent_s = 0.0 if any(r.outcome.tells for r in frame.inputs.units) else self._silent_s + frame.inputs.dt_s
        coming_off = state.mode in (Mode.UNLOAD, Mode.COOL) and frame.decision.seen.loaded
        self._stuck_s = self._stuck_s + frame.inputs.dt_s if coming_off else 0.0
        for event in frame.decision.events:
            if event.kind == "segment":
                self._reached_s.setdefault(dict(event.data)["segment"], now_s)
        if not self._charged:
            if all(u.heard for u in state.units) or now_s >= MEET_S:
                self._charged = True
                return [Command(Verb.TAKE_CHARGE, NAME)]
            return []
        if not self._started:
            self._started = True
            return [Command(Verb.START, NAME)]
        return [*self._due(now_s), *self._answer(frame, now_s), *self._reading(frame)]

    def over(self, frame: Frame) -> bool:
        """True when nothing more can come: cool and done, stuck hot, load that does not go, or the chain is gone."""
        state = frame.decision.state
        if not self._started:
            return False
        if self._silent_s >= LOST_S + max((_watchdog_s(u.profile) for u in self._settings.site.units), default=0.0):
            self.chain_lost = True
            return True
        if state.mode is Mode.DONE or self._stuck_s >= STUCK_S:
            return True
        hot = [(u, unit) for u, unit in zip(state.units, self._settings.site.units, strict=True) if u.hot and u.joined]
        stuck = [u.cooling_s >= unit.profile.cooldown.alarm_s + STUCK_S for u, unit in hot]
        return state.mode is Mode.COOL and bool(stuck) and all(stuck)

    def _due(self, now_s: float) -> list[Command]:
        """Timed commands whose time has come."""
        due: list[Command] = []
        for answer in list(self._timed):
            start_s = 0.0 if answer.during is None else self._reached_s.get(answer.during)
            if start_s is not None and now_s >= start_s + (answer.at_s or 0.0):
                self._timed.remove(answer)
                due.append(self._command(answer))
        return due

    def _answer(self, frame: Frame, now_s: float) -> list[Command]:
        """The answer to an open prompt, some seconds after it opened."""
        prompt = frame.decision.state.prompt
        key = None if prompt is None else (prompt.kind, prompt.text)
        if key != self._prompt:
            self._prompt, self._prompt_s = key, now_s
        if prompt is None:
            return []
        for answer in self._answers:
            if answer.to in ("prompts", "") or answer.to.lower() in prompt.text.lower():
                if now_s - self._prompt_s >= answer.after_s:
                    self._prompt = None
                    return [self._command(answer)]
                return []
        return []

    def _reading(self, frame: Frame) -> list[Command]:
        """What the program asks to be read, some seconds after it is due: as an instrument tells it, else as usual."""
        state, program = frame.decision.state, self._settings.program
        if program is None or state.reading_owed_s is None or state.reading_owed_s < READ_S:
            return []
        shown = USUAL | {"ambient_c": self._settings.site.ambient_c} | self._panel(frame)
        read = [BY_NAME[name] for name in program.readings if name in shown]
        typed = "; ".join(f"{gauge.name}={shown[gauge.name]:.{gauge.decimals}f}" for gauge in read)
        return [Command(Verb.READING, NAME, value=state.reading_owed_s, text=typed)] if typed else []

    def _panel(self, frame: Frame) -> dict[str, float]:
        """What instruments tell of the set's own panel."""
        source, told = frame.decision.seen, {}
        for kept in frame.decision.state.instruments:
            for name in ("oil_kpa", "coolant_c", "fuel_percent", "battery_v", "speed_rpm"):
                told[name] = getattr(kept.last, name)
        told |= {"panel_v": source.volts_v, "panel_hz": source.hertz, "panel_kw": source.source_kw}
        amps = [a for a in source.source.amps if a is not None]
        told["panel_a"] = max(amps, default=None)
        return {name: value for name, value in told.items() if value is not None}

    def _command(self, answer: Answer) -> Command:
        names = [u.name for u in self._settings.site.units]
        unit = names.index(answer.unit) if answer.unit else None
        return Command(Verb(answer.verb), NAME, answer.why, answer.value, answer.text, unit)


def _watchdog_s(profile: Profile) -> float:
    return profile.watchdog.time_s if profile.watchdog else 0.0
