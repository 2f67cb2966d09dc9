"""Chains of offers for the tests of levels and choice: our own invention, and Hypothesis strategies for many more."""

from hypothesis import strategies as st

from benchctl.core.levels import offer
from benchctl.core.offer import Offer
from benchctl.core.profile import CoolDown, Fan, FanSupply, Profile, SetPoint, Stage
from benchctl.core.registers import RegisterMap

PHASES = {
    "a": (1.0, 0.0, 0.0),
    "b": (0.0, 1.0, 0.0),
    "c": (0.0, 0.0, 1.0),
    "ab": (0.5, 0.5, 0.0),
    "bc": (0.0, 0.5, 0.5),
    "ca": (0.5, 0.0, 0.5),
    "abc": (1 / 3, 1 / 3, 1 / 3),
}


def profile(
    kws: tuple[float, ...] = (),
    *,
    across: tuple[str, ...] | None = None,
    setpoint: SetPoint | None = None,
    rated_v: float = 400.0,
    phases: int = 3,
) -> Profile:
    """A profile with these stages (or set point) and no registers."""
    across = across or ("abc",) * len(kws)
    stages = tuple(
        Stage(f"stage {i + 1}", tuple(kw * share for share in PHASES[ph]), ph)  # type: ignore[arg-type]
        for i, (kw, ph) in enumerate(zip(kws, across, strict=True))
    )
    return Profile(
        "invented",
        "Invented unit",
        rated_v,
        phases,
        "wye",
        (50.0, 60.0),
        RegisterMap(()),
        stages,
        setpoint,
        Fan(1.0, FanSupply.SEPARATE),
        None,
        CoolDown(),
    )


def staged(kws: tuple[float, ...], volts_ratio: float = 1.0, across: tuple[str, ...] | None = None) -> Offer:
    """What a healthy staged unit offers."""
    return offer(profile(kws, across=across), -1, volts_ratio)


def stepped(maximum_kw: float, resolution_kw: float, volts_ratio: float = 1.0, *, actual: bool = True) -> Offer:
    """What a healthy set-point unit offers."""
    return offer(profile(setpoint=SetPoint(maximum_kw, resolution_kw, actual)), 10**9, volts_ratio)


KWS = st.sampled_from([1.0, 2.0, 2.5, 4.0, 5.0, 6.0, 7.3, 10.0, 12.0, 20.0, 33.3, 40.0])
RATIOS = st.sampled_from([1.0, 400 / 415, 395 / 400, 0.9, 208 / 480, 1.05])


@st.composite
def chains(draw, *, most_units: int = 4, single_phase: bool = False) -> tuple[Offer, ...]:
    """A chain of staged units, some with single-phase stages, and set-point units at mixed volts."""
    common = draw(RATIOS)
    mixed = draw(st.booleans())
    offers = []
    for _ in range(draw(st.integers(1, most_units))):
        ratio = draw(RATIOS) if mixed else common
        if draw(st.integers(0, 4)) == 0 and not single_phase:
            resolution_kw = draw(st.sampled_from([0.5, 1.0, 5.0]))
            steps = draw(st.integers(1, 40))
            offers.append(stepped(steps * resolution_kw, resolution_kw, ratio, actual=draw(st.booleans())))
            continue
        kws = tuple(draw(st.lists(KWS, min_size=1, max_size=8)))
        kinds = st.sampled_from(["a", "b", "c", "abc"] if single_phase else ["abc"])
        unit = profile(kws, across=tuple(draw(kinds) for _ in kws))
        offers.append(offer(unit, draw(st.integers(1, (1 << len(kws)) - 1)), ratio))
    return tuple(offers)


@st.composite
def loads(draw, offers: tuple[Offer, ...]) -> tuple[int, ...]:
    """Any present loads, those of stages that are not offered included."""
    return tuple(draw(st.integers(0, (1 << len(o.kws)) - 1 if o.kws else o.steps)) for o in offers)


def all_kws(offers: tuple[Offer, ...]) -> list[float]:
    """Every level in kW, by plain enumeration of all sets of stages: for small chains only."""
    found = {0.0}
    for o in offers:
        own = [0.0]
        for i, kw in enumerate(o.kws):
            if o.usable >> i & 1:
                own += [x + kw for x in own]
        own += [n * o.step_kw for n in range(1, o.steps + 1)]
        found = {round(x + y, 12) for x in found for y in own}
    return sorted(found)
