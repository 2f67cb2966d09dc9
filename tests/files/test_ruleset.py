"""Rule set files: every kind of rule is read, every flaw has its place, and the shipped figures are those of the texts.

Figures: how each was read is said by the mark beside it, here and in the file (sources: the table in DEVELOPERS.md).
"""

import re
from pathlib import Path

import pytest

from benchctl.assessment.gauged import COLUMNS
from benchctl.core.criteria import criterion, span
from benchctl.core.ruleset import (
    MEASURED,
    Autonomy,
    Centre,
    Direction,
    Duty,
    Fields,
    Known,
    Measure,
    Origin,
    Quantity,
    Readings,
    Rest,
    SampleBase,
    Stability,
    Steady,
    Step,
    Transient,
    Unbroken,
)
from benchctl.files import names, read_rule_set
from benchctl.files.amounts import duration_s
from tests.files.paper import flaws, marked, read

HEAD = "title: t\ndocument: d\nedition: 2010\nrules:\n"
MEMORY = Origin(known=Known.MEMORY)
ALL = [read_rule_set(name)[0] for name in names("ruleset")]


def rules(*rows):
    return read("ruleset", HEAD + "".join(f"  - {row}\n" for row in rows)).rules


def shipped(name):
    return {rule.key: rule for rule in read_rule_set(name)[0].rules}


def test_every_kind_of_rule_is_read():
    assert rules(
        "duty: {key: half, at_least: 50 %, at_most: 60 %, for: 30 min, clause: 8.4, known: quoted elsewhere, "
        "source: S3}",
        "unbroken: {key: whole, at_least: 50 %, for: 1 h 30 min, known: computed, note: n, text: t}",
        "steady: {key: band, of: hertz, as: width, limit: 1.5 %, over: 1 min, during: half, known: common practice}",
        "transient: {key: dip, of: volts, on: load on, deviation: 20 %, recovery: 6 s, band: 2.5 %, exit: 2 %, "
        "around: rated, step: 25 %, known: from memory}",
        "transient: {key: rise, of: hertz, on: load off, deviation: 5 %, recovery: 5 s, band: 1 %, known: from memory}",
        "stability: {key: warm, reading: coolant_c, count: 3, within: 0.5, every: 5 min, known: from memory}",
        "rest: {key: cool, for: 5 min, no_load: 3 %, known: from memory}",
        "readings: {key: read, every: 15 min, names: [power_kw, oil_kpa], at_start: false, late: 2 min, "
        "known: from memory}",
        "fields: {key: papers, names: [serial, witness], known: from memory}",
        "step: {key: transfer, text: carried, within: 10 s, at_least: 1 s, known: from memory}",
        "autonomy: {key: run, load: 100 %, for: 15 min, end_volts: 420, tolerance: 1 %, known: from memory}",
    ) == (
        Duty("half", 50.0, 60.0, 1800.0, Origin("8.4", Known.QUOTED, "S3")),
        Unbroken("whole", 50.0, 5400.0, Origin(known=Known.COMPUTED, note="n"), "t"),
        Steady("band", Quantity.HERTZ, Measure.WIDTH, 1.5, Origin(known=Known.PRACTICE), 60.0, "half"),
        Transient(
            "dip",
            Quantity.VOLTS,
            Direction.UP,
            20.0,
            6.0,
            2.5,
            MEMORY,
            exit_percent=2.0,
            centre=Centre.RATED,
            step_percent=25.0,
        ),
        Transient("rise", Quantity.HERTZ, Direction.DOWN, 5.0, 5.0, 1.0, MEMORY),
        Stability("warm", "coolant_c", 3, 0.5, 300.0, MEMORY),
        Rest("cool", 300.0, MEMORY, 3.0),
        Readings("read", 900.0, ("power_kw", "oil_kpa"), MEMORY, False, 120.0),
        Fields("papers", ("serial", "witness"), MEMORY),
        Step("transfer", "carried", MEMORY, 10.0, 1.0),
        Autonomy("run", 100.0, 900.0, MEMORY, 420.0, 1.0),
    )


def test_the_head_of_a_rule_set_is_read():
    found = read(
        "ruleset",
        "title: t\ndocument: d\nedition: 2010\nadopted: 1999\nscope: s\nnotes: [one, two]\n"
        "sample_base: one-minute mean\n"
        "gap: 20 s\nof_derated: true\nreading_interval: 5 min\nwarm_up: 10 min\nrules: []\n",
    )
    assert (found.name, found.edition, found.adopted, found.scope, found.notes) == (
        "x",
        "2010",
        "1999",
        "s",
        ("one", "two"),
    )
    assert (found.sample_base, found.gap_s, found.of_derated) == (SampleBase.MINUTE, 20.0, True)
    assert (found.reading_interval_s, found.warm_up_s, found.rules) == (300.0, 600.0, ())


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("¶duety: {key: a}", "unknown key 'duety', did you mean 'duty'?"),
        ("¶{}", "found nothing, expected one rule: one key of duty, unbroken"),
        ("duty: ¶{key: a, for: 1 h, known: from memory}", "found no level, expected at_least, at_most or both"),
        ("duty: ¶{key: a, at_least: 5 %, for: 1 h}", "key 'known' is missing here (needed: key, known, for)"),
        ("duty: {key: a, at_least: ¶50, for: 1 h, known: from memory}", "'50' has no unit, expected a share"),
        ("duty: {key: a, at_least: 5 %, for: ¶0 s, known: from memory}", "found 0 s, expected a length of time"),
        (
            "duty: {key: a, at_least: 5 %, at_most: ¶4 %, for: 1 s, known: from memory}",
            "found 4 %, expected at least the 5 %",
        ),
        ("duty: {key: ¶A b, at_least: 5 %, for: 1 h, known: from memory}", "'A b' is no key, expected small letters"),
        (
            "duty: {key: a, at_least: 5 %, for: 1 h, known: ¶I think}",
            "expected one of: read in the text, quoted elsewhere",
        ),
        (
            "duty: {key: a, at_least: 5 %, for: 1 h, known: ¶read in the text}",
            "without a source, expected a key 'source'",
        ),
        ("steady: {key: a, of: ¶kW, as: droop, limit: 1 %, known: from memory}", "expected volts or hertz for droop"),
        (
            "steady: {key: a, of: ¶hertz, as: unbalance of the mean, limit: 1 %, known: computed}",
            "nothing else has three phases",
        ),
        ("steady: {key: a, of: hertz, as: width, limit: 1 %, during: ¶b, known: computed}", "there is no duty here"),
        ("readings: {key: a, every: 1 min, names: [¶oil_psi], known: computed}", "did you mean 'oil_kpa'?"),
        ("readings: {key: a, every: 1 min, names: [hertz, ¶hertz], known: computed}", "stands in the list twice"),
        ("fields: {key: a, names: [¶serail], known: computed}", "did you mean 'serial'?"),
        ("step: ¶{key: a, known: computed}", "key 'text' is missing here"),
        (
            "step: {key: a, text: t, within: ¶1 s, at_least: 2 s, known: computed}",
            "found 1 s, expected at least the 2 s",
        ),
        (
            "transient: {key: a, of: volts, on: load on, deviation: 1 %, recovery: 1 s, band: ¶0 %, known: computed}",
            "half width",
        ),
        (
            "stability: {key: a, reading: ¶x, count: 3, within: 1, every: 1 s, known: computed}",
            "expected one of oil_kpa",
        ),
        ("autonomy: {key: a, load: ¶0 %, for: 1 h, known: computed}", "constant load of the discharge"),
    ],
)
def test_a_flaw_is_told_with_its_place(row, told):
    text, place = marked(HEAD + f"  - {row}\n")
    (found,) = flaws("ruleset", text)
    assert found.startswith(place)
    assert told in found


def test_a_key_that_is_there_twice_is_told_with_the_line_of_the_first():
    row = "  - rest: {{key: {}cool, for: 5 min, known: from memory}}\n"
    text, place = marked(HEAD + row.format("") + row.format("¶"))
    assert flaws("ruleset", text) == [f"{place}key 'cool' is here twice (first in line 5)"]


def test_the_shelf_holds_what_people_ask_for():
    assert any("acceptance" in name for name in names("ruleset"))
    assert {f"iso8528-g{i}" for i in (1, 2, 3, 4)} <= set(names("ruleset"))
    assert read_rule_set("empty")[0].rules == ()


@pytest.mark.parametrize("found", ALL, ids=lambda r: r.name)
def test_every_source_that_a_shipped_figure_names_is_told_to_developers(found):
    table = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    told = {key for row in re.findall(r"^\| (S[0-9, S]*) \|", table, re.MULTILINE) for key in row.split(", ")}
    texts = [*found.notes, *(f"{r.origin.source} {r.origin.note}" for r in found.rules)]
    named = set(re.findall(r"\bS[0-9]+\b", " ".join(texts)))
    assert named <= told


@pytest.mark.parametrize("found", ALL, ids=lambda r: r.name)
def test_every_shipped_rule_is_told_in_words(found):
    for rule in found.rules:
        assert len(criterion(rule)) > 10
    assert found.scope


@pytest.mark.parametrize("name", [n for n in names("ruleset") if n.startswith("nfpa110")])
def test_the_edition_of_us_hospital_surveys_is_noted(name):
    assert any("2010" in note for note in read_rule_set(name)[0].notes)


# Duration and level of each duty with its mark: accreditor's answers (S5, read), quotations (S2, S3), memory.
PROFILES = {
    "nfpa110-acceptance": [(30, 1800, Known.MEMORY), (50, 1800, Known.MEMORY), (100, 3600, Known.MEMORY)],
    "nfpa110-monthly": [(30, 1800, Known.QUOTED)],
    "nfpa110-annual": [(50, 1800, Known.QUOTED), (75, 3600, Known.QUOTED)],
    "nfpa110-annual-1999": [(25, 1800, Known.READ), (50, 1800, Known.READ), (75, 3600, Known.READ)],
    "nfpa110-36-month": [(30, 14400, Known.READ)],
    "nfpa110-combined": [(30, 10800, Known.READ), (75, 3600, Known.READ)],
    "ufgs-endurance": [
        (75, 7200, Known.READ),
        (100, 14400, Known.READ),
        (110, 7200, Known.READ),
        (100, 7200, Known.READ),
    ],
    "ufgs-endurance-standby": [(75, 7200, Known.READ), (100, 14400, Known.READ), (100, 7200, Known.READ)],
    "wet-stacking": [(75, 7200, Known.PRACTICE)],
}


@pytest.mark.parametrize(("name", "profile"), PROFILES.items())
def test_shipped_durations_and_levels_are_those_of_the_texts(name, profile):
    duties = [r for r in read_rule_set(name)[0].rules if isinstance(r, Duty)]
    assert [(d.at_least_percent, d.for_s, d.origin.known) for d in duties] == profile


# ISO 8528-5: G2 as a public works specification quotes it (S17); G1 and G3 from memory, their bands read (S10).
CLASSES = {
    #       droop band volts | hertz up, down, s, half band | volts up, down, s
    "iso8528-g1": (8, 2.5, 5, 15, 18, 10, 1.75, 25, 35, 10),
    "iso8528-g2": (5, 1.5, 2.5, 10, 12, 5, 1.0, 20, 25, 6),
    "iso8528-g3": (3, 0.5, 1, 7, 10, 3, 1.0, 15, 20, 4),
}


@pytest.mark.parametrize(("name", "figures"), CLASSES.items())
def test_performance_classes_have_the_figures_of_the_table(name, figures):
    found = shipped(name)
    assert (
        *(found[key].limit_percent for key in ("hertz_droop", "hertz_band", "volts_deviation")),
        *(found[key].deviation_percent for key in ("hertz_up", "hertz_down")),
        found["hertz_up"].recovery_s,
        found["hertz_up"].band_percent,
        *(found[key].deviation_percent for key in ("volts_up", "volts_down")),
        found["volts_up"].recovery_s,
    ) == figures
    assert found["hertz_up"].exit_percent == found["hertz_band"].limit_percent / 2
    for key in ("hertz", "volts"):
        assert found[f"{key}_up"].recovery_s == found[f"{key}_down"].recovery_s
    assert found["hertz_band"].origin.known is (Known.QUOTED if name == "iso8528-g2" else Known.READ)


def test_class_g4_asks_for_the_agreement_and_has_no_limit_of_its_own():
    assert not [r for r in shipped("iso8528-g4").values() if isinstance(r, (Steady, Transient))]
    assert "limits_agreed" in shipped("iso8528-g4")


def test_the_military_limits_are_those_of_the_equipment_specifications():
    """MIL-DTL-53133/6B (S15): 0.25 % regulation, 0.5 % in 30 s, volts 1 %, 12 %, 0.5 s; a manual (S13): 4 %, 2 s."""
    found = shipped("mil608")
    assert [found[k].limit_percent for k in ("hertz_regulation", "hertz_short", "volts_short")] == [0.25, 0.5, 1.0]
    assert [found[k].deviation_percent for k in ("hertz_up", "hertz_down", "volts_up", "volts_down")] == [4, 4, 12, 12]
    assert [found[k].recovery_s for k in ("hertz_up", "volts_up")] == [2.0, 0.5]
    assert found["volts_stable"].count == 4


def test_names_that_a_rule_may_ask_for_are_names_that_an_assessment_knows():
    assert set(MEASURED) <= set(COLUMNS)


@pytest.mark.parametrize("seconds", [0.0, 0.5, 45.0, 90.0, 1800.0, 5400.0, 3661.0, 14400.0])
def test_a_span_is_written_as_a_file_reads_it(seconds):
    assert duration_s(span(seconds)) == seconds
