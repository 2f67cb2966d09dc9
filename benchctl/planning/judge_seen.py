"""Rules about what instruments must see: steady values, stability, readings; and those that people answer for."""

from benchctl.core.criteria import called, span
from benchctl.core.papers import PAPERS
from benchctl.core.readings import BY_NAME
from benchctl.core.ruleset import Duty, Fields, Measure, Quantity, Readings, Stability, Steady, Step
from benchctl.planning.judge_course import FINE_KW, FINE_S, Meets, Scene, Span, Stretch
from benchctl.planning.judge_load import REMEDY, Found, meets_duty, own_load
from benchctl.planning.judged import Standing

NO_LOAD_PERCENT = 2.0  # of nameplate at most, common practice
RATED_PERCENT = (95.0, 110.0)  # what counts as rated load, common practice
OVER_S = 30.0  # of a settled value, common practice
LINES = frozenset({"volts_ab", "volts_bc", "volts_ca"})
NEUTRALS = frozenset({"volts_a", "volts_b", "volts_c"})
AMPS = frozenset({"amps_a", "amps_b", "amps_c"})
ENTERED = "to be entered by people"


def tells(scene: Scene, name: str) -> bool:
    """True when the meters at the source tell a measured quantity."""
    told = scene.told
    return {
        "power_kw": scene.tells_power(),
        "volts_v": bool((LINES | NEUTRALS) & told),
        "hertz": "hertz" in told,
        "amps": told >= AMPS,
    }[name]


COLUMN = {Quantity.HERTZ: "hertz", Quantity.VOLTS: "volts_v", Quantity.POWER: "power_kw", Quantity.AMPS: "amps"}


def steady(scene: Scene, rule: Steady) -> Found:
    """A time of steady load that is long enough, and a meter that tells the quantity."""
    if rule.measure in (Measure.DROOP, Measure.REGULATION):
        return _no_load_to_load(scene, rule)
    holds = [s for s in scene.course if s.held and s.high_kw > 0.0 and _during(scene, rule.during, s)]
    need_s = rule.over_s + scene.site.limits.settle_s
    best = max(holds, key=lambda s: s.length_s, default=None)
    if best is None or best.length_s < need_s - FINE_S:
        have = span(best.length_s) if best else "none"
        return Standing.NOT, f"a hold of {span(need_s)} is needed, settling counted; the longest is {have}", None
    if not tells(scene, COLUMN[rule.quantity]):
        return Standing.CANNOT, f"no meter at the source tells {rule.quantity.value}", None
    phases = {Quantity.VOLTS: LINES, Quantity.AMPS: AMPS}.get(rule.quantity, frozenset[str]())
    if rule.measure in (Measure.UNBALANCE_MEAN, Measure.UNBALANCE_RATED) and not phases <= scene.told:
        return Standing.CANNOT, f"no meter at the source tells {rule.quantity.value} of all three phases", None
    seen = f"new values come each {scene.sampling_s:g} s; what swings faster is not seen"
    return Standing.SATISFIED, seen, Span(best.from_s, best.to_s)


def _during(scene: Scene, key: str, stretch: Stretch) -> bool:
    """Whether a stretch belongs to a duty's time and level; without a key all do."""
    if not key:
        return True
    placed, meets = scene.placed.get(key), _meets(scene, key)
    return placed is not None and stretch.to_s > placed.from_s and meets(stretch)


def _meets(scene: Scene, key: str) -> Meets:
    rule = next(r for r in scene.rules.rules if isinstance(r, Duty) and r.key == key)
    return meets_duty(scene, rule)


def _no_load_to_load(scene: Scene, rule: Steady) -> Found:
    low, high = (share * scene.nameplate_kw / 100.0 for share in RATED_PERCENT)
    need_s = OVER_S + scene.site.limits.settle_s
    long = [s for s in scene.course if s.held and s.length_s >= need_s - FINE_S]
    if not any(s.low_kw >= low - FINE_KW and s.high_kw <= high + FINE_KW for s in long):
        return Standing.NOT, f"no hold of {span(need_s)} at rated load (95 to 110 % of nameplate)", None
    idle = any(s.leg.target_kw <= 0.0 for s in long) or (scene.program.source_cooldown_s or 0.0) >= need_s
    if not idle:
        return Standing.NOT, f"no hold of {span(need_s)} at no load, and no source_cooldown as long", None
    if not tells(scene, COLUMN[rule.quantity]):
        return Standing.CANNOT, f"no meter at the source tells {rule.quantity.value}", None
    most_kw = NO_LOAD_PERCENT * scene.nameplate_kw / 100.0
    if scene.idle_kw > most_kw + FINE_KW:
        return Standing.CANNOT, f"{own_load(scene)}; no load is at most {most_kw:g} kW. {REMEDY}", None
    return Standing.SATISFIED, "held at no load and at rated load", None


def stability(scene: Scene, rule: Stability) -> Found:
    """Time for so many readings, and somebody or something that reads."""
    need_s = (rule.count - 1) * rule.interval_s
    holds = [s for s in scene.course if s.held and s.high_kw > 0.0 and _during(scene, rule.during, s)]
    best = max(holds, key=lambda s: s.length_s, default=None)
    if best is None or best.length_s < need_s - FINE_S:
        have = span(best.length_s) if best else "none"
        return Standing.NOT, f"{rule.count} readings need a hold of {span(need_s)}; the longest is {have}", None
    standing, why = _read(scene, (rule.reading,), rule.interval_s)
    whether = "whether they agree the run tells"
    return standing, why if standing is not Standing.SATISFIED else whether, Span(best.from_s, best.to_s)


def readings(scene: Scene, rule: Readings) -> Found:
    """Every name is read by a person or told by an instrument, often enough."""
    return *_read(scene, rule.names, rule.interval_s), None


def _read(scene: Scene, names: tuple[str, ...], every_s: float) -> tuple[Standing, str]:
    program = scene.program
    panel = frozenset(n for i in scene.site.instruments for n in i.reports)
    people = [n for n in names if n in BY_NAME and n not in panel]
    nobody = [called(n) for n in people if n not in program.readings]
    if nobody:
        return Standing.NOT, f"nobody is asked for {', '.join(nobody)}, and no instrument tells it"
    if people and program.reading_interval_s > every_s + FINE_S:
        return Standing.NOT, f"readings are asked each {span(program.reading_interval_s)}, {span(every_s)} are needed"
    unseen = [called(n) for n in names if n not in BY_NAME and not tells(scene, n)]
    if unseen:
        return Standing.CANNOT, f"no meter at the source tells {', '.join(unseen)}"
    if people:
        return Standing.SATISFIED, f"a person is asked for {', '.join(called(n) for n in people)}"
    return Standing.SATISFIED, "instruments tell all of it"


def step(scene: Scene, rule: Step) -> Found:
    """What an operator does; load alone never shows it."""
    limits = [f"at most {span(rule.within_s)}"] if rule.within_s is not None else []
    limits += [f"at least {span(rule.at_least_s)}"] if rule.at_least_s is not None else []
    figures = f", {' and '.join(limits)}" if limits else ""
    return Standing.PEOPLE, f"load alone cannot show it: record a remark that names {rule.key}{figures}", None


def fields(scene: Scene, rule: Fields) -> Found:
    """What the site file gives, what people enter, what is still empty."""
    site, plate = scene.site, scene.site.nameplate
    meters = [i for i in site.instruments if i.role == "meter"]
    in_site = {
        "serial": bool(plate.serial),
        "ambient_c": "ambient_c" in scene.program.readings,
        "instruments": bool(meters) and all(i.serial for i in meters),
        "calibration": bool(meters) and all(i.calibration_due for i in meters),
        "rating_class": bool(plate.rating_class),
        "readings": bool(scene.program.readings),
        "percent_of_nameplate": scene.tells_power(),
    }
    people = ("operator", "witness", "as_found", "as_left", "unusual", "failures")
    empty = [PAPERS[n] for n in rule.names if n in in_site and not in_site[n]]
    open_ones = [PAPERS[n] for n in rule.names if n in people]
    told = [f"neither in the site file nor among the readings: {', '.join(empty)}"] if empty else []
    told += [f"{ENTERED}: {', '.join(open_ones)}"] if open_ones else []
    return (Standing.PEOPLE, "; ".join(told), None) if told else (Standing.SATISFIED, "all of it is there", None)
