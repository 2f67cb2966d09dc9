"""The verb `rehearse`: a program on a simulated chain in virtual time, with the real client and real frames."""

import argparse
import time
from typing import TYPE_CHECKING

from benchctl.cli.voice import Voice
from benchctl.cli.where import runs_argument

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchctl.core.decision import Frame
    from benchctl.record.recorder import Recorder
    from benchctl.rehearsal import Rehearsal
    from benchctl.tally import Tally

HELP = "rehearse a program on a simulated chain, in virtual time, on the record"
EXIT = {"completed": 0, "tripped": 3, "dropped": 3, "chain lost": 4}
QUIET_S = 600.0  # virtual time without a word before the state is told


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument("program", metavar="PROGRAM", help="program file, or the name of a shipped one")
    parser.add_argument("--site", required=True, metavar="SITE", help="site file, or the name of a shipped one")
    parser.add_argument("--scenario", metavar="FILE", help="faults and answers: a file, or the name of a shipped one")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="seed of all that is random (default 0)")
    parser.add_argument("--anyway", action="store_true", help="rehearse although the plan says that it cannot be done")
    runs_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Rehearse. Exit codes: see cli/__init__.py. Raises FileFault for files that cannot be read."""
    from benchctl.core.decision import Settings
    from benchctl.files import read_program, read_rule_set, read_scenario, read_site
    from benchctl.planning import plan

    site, files = read_site(args.site)
    program, program_file = read_program(args.program)
    files = (*files, program_file, *(read_rule_set(name)[1] for name in program.rule_sets))
    scenario = None
    if args.scenario:
        scenario, scenario_file = read_scenario(args.scenario, site)
        files = (*files, scenario_file)
    drawn = plan(site, program)
    for finding in drawn.findings:
        voice.narrate(f"{finding.severity.value}: {finding.text}")
    if not drawn.feasible and not args.anyway:
        voice.narrate("not rehearsed: the plan is not feasible (--anyway rehearses it all the same)")
        refusals = [f.text for f in drawn.findings if f.severity.value == "refusal"]
        voice.row({"outcome": "not feasible", "refusals": refusals})
        return 1
    settings = Settings.of(site, program, drawn.scan_period_s)
    voice.narrate(
        f"rehearsal of {program.title or program.name} at {site.title or site.name}, "
        f"a scan each {settings.scan_period_s:g} s, simulated units, seed {args.seed}"
    )
    return _rehearse(args, voice, settings, scenario, files)


def _rehearse(args, voice, settings, scenario, files) -> int:  # type: ignore[no-untyped-def]
    """Run it with a recorder, and tell how it ended."""
    from datetime import datetime

    from benchctl.record.fault import RecordFault
    from benchctl.record.recorder import Recorder
    from benchctl.record.runs import new_run, runs_folder
    from benchctl.rehearsal import Rehearsal
    from benchctl.tally import Tally

    folder = runs_folder(args.runs)
    folder.mkdir(parents=True, exist_ok=True)
    path = new_run(folder, settings.site.name, settings.program.name, datetime.now().astimezone())
    meta = {"seed": str(args.seed), "scenario": scenario.name if scenario else ""}
    try:
        recorder = Recorder(path, settings, meta, files)
    except RecordFault as fault:
        voice.narrate(str(fault))
        return 2
    tally = Tally(settings)
    begun_s = time.perf_counter()
    start_at = settings.program.start_at
    wall_s = datetime.fromisoformat(start_at).timestamp() if start_at else time.time()
    rehearsal = Rehearsal(
        settings,
        scenario,
        seed=args.seed,
        wall_s=wall_s,
        listeners=(recorder.write, tally, _narrator(voice)),
        health=lambda: recorder.health,
    )
    try:
        last = rehearsal.run()
    except BaseException as ended:  # whatever it is, the record is closed first
        recorder.close("interrupted" if isinstance(ended, KeyboardInterrupt) else "fault", {})
        raise
    return _tell(voice, rehearsal, last, tally, recorder, time.perf_counter() - begun_s)


def _narrator(voice: Voice) -> "Callable[[Frame], None]":
    """A listener that tells events as they happen, and the state when nothing happens for long."""
    told_s = 0.0

    def narrate(frame: "Frame") -> None:
        nonlocal told_s
        now_s, state, seen = frame.inputs.now_s, frame.decision.state, frame.decision.seen
        for event in frame.decision.events:
            if event.kind == "command" and event.text.startswith("reading "):
                continue  # told more legibly by the event that follows
            by = f" ({event.who})" if event.who else ""
            voice.narrate(f"{clock(now_s)}  {event.kind:<18} {event.text}{by}")
            told_s = now_s
        if now_s - told_s >= QUIET_S:
            told_s = now_s
            delivered = "not known" if seen.delivered_kw is None else f"{seen.delivered_kw:.0f} kW"
            asked = f"target {state.target_kw:.0f} kW, delivered {delivered}"
            voice.narrate(f"{clock(now_s)}  {state.mode.value:<18} {asked}")

    return narrate


def clock(seconds: float) -> str:
    """h:mm:ss.t of a run's time."""
    whole, tenth = divmod(int(seconds * 10 + 0.5), 10)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}.{tenth}"


def outcome_of(rehearsal: "Rehearsal", last: "Frame") -> str:
    """One word or two for how it ended."""
    state = last.decision.state
    if last.fault:
        return "fault"
    if rehearsal.operator.chain_lost:
        return "chain lost"
    if any(u.hot and u.joined for u in state.units) and state.outcome in ("", "completed"):
        return "not cool"
    return state.outcome or state.after_unload or "interrupted"


def _tell(
    voice: Voice, rehearsal: "Rehearsal", last: "Frame", tally: "Tally", recorder: "Recorder", wall_s: float
) -> int:
    """Close the record and tell the outcome; returns the exit code."""
    from benchctl.cli.assess import tell_verdicts
    from benchctl.cli.curve import curve

    outcome = outcome_of(rehearsal, last)
    settings = rehearsal.settings
    totals = {
        "virtual_s": round(tally.virtual_s, 3),
        "wall_s": round(wall_s, 3),
        "planned_peak_kw": round(settings.peak_kw, 3),
        "delivered_peak_kw": None if tally.peak_kw is None else round(tally.peak_kw, 3),
        "delivered_from": tally.peak_from,
        "cool_down_s": round(tally.cool_down_s, 3),
        "trips": tally.trips,
        "events": tally.events,
    }
    sealed = recorder.close(outcome, {k: v for k, v in totals.items() if k != "wall_s"})
    if last.fault:
        voice.narrate(f"deciding failed: {last.fault}")
    if not sealed:
        voice.narrate(f"the record is not complete: {recorder.problem}")
    for line in curve(tally.curve):
        voice.text(line)
    peak = "not known" if tally.peak_kw is None else f"{tally.peak_kw:.1f} kW ({tally.peak_from})"
    voice.text()
    voice.text(f"outcome     {outcome}")
    voice.text(f"peak        {settings.peak_kw:.1f} kW planned, {peak} delivered")
    voice.text(f"cool-down   {clock(tally.cool_down_s)[:-2]} for the longest unit")
    voice.text(f"time        {clock(tally.virtual_s)[:-2]} rehearsed in {wall_s:.1f} s")
    voice.text(f"events      {tally.events}, of which {tally.trips} trips")
    voice.text(f"record      {recorder.path}")
    verdicts = tell_verdicts(recorder.path, voice)
    voice.row({"outcome": outcome, "run": str(recorder.path), **totals, "verdicts": verdicts})
    return EXIT.get(outcome, 1) if sealed else max(1, EXIT.get(outcome, 1))
