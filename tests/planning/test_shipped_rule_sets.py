"""Every shipped rule set at both demo places where a full load can be had: what the drafted program has shown of it.

What cannot be shown there has a true reason: a meter with a new value each half second or second sees neither the
extreme of a dip, which lasts some cycles, nor a recovery within half a second. What is for people no load shows.
"""

import pytest

from benchctl.core.program import LoadIs
from benchctl.core.ruleset import Step
from benchctl.files import names, read_rule_set, read_site
from benchctl.planning import plan
from benchctl.planning.draft import draft
from benchctl.planning.judge import judge
from benchctl.planning.judged import Standing

SUDDEN = {"hertz_up", "hertz_down", "volts_up", "volts_down"}
CANNOT = {
    "iso8528-g1": SUDDEN,
    "iso8528-g2": SUDDEN,
    "iso8528-g3": SUDDEN,
    "mil608": SUDDEN,
    "ufgs-transient": SUDDEN,
    "ups-steps": {"volts_up", "volts_down"},
}
REFUSED = {"ufgs-endurance"}  # 110 % of an ESP set: above the site's upper limit of 105 %
NOBODY = {"empty"}  # no rules, nothing promised
PLACES = ("northquay", "alder-ridge")


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("name", sorted(set(names("ruleset")) - REFUSED - NOBODY))
def test_what_can_be_shown_is_and_the_rest_has_a_true_reason(name, place):
    rules, site = read_rule_set(name)[0], read_site(place)[0]
    program = draft(rules, site).program
    drawn = plan(site, program)
    assert drawn.feasible
    found = {j.key: j for j in judge(site, program, drawn, rules).rules}
    assert {k for k, j in found.items() if j.standing is Standing.NOT} == set()
    assert {k for k, j in found.items() if j.standing is Standing.CANNOT} == CANNOT.get(name, set())
    for key in CANNOT.get(name, ()):
        assert "a capture of the waveform can" in found[key].why or "largest block up is" in found[key].why, found[key]
    for_people = {k for k, j in found.items() if j.standing is Standing.PEOPLE}
    steps = {rule.key for rule in rules.rules if isinstance(rule, Step)}
    assert steps <= for_people <= steps | {"papers", "contents"}
    for key in for_people & {"papers", "contents"}:
        assert found[key].why.startswith("to be entered by people")  # the site files lack nothing
    assert program.site_load_off == (place == "northquay" and name not in {"doe3003-record", "iso8528-g4"})
    assert program.load_is is LoadIs.SOURCE_TOTAL


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("name", sorted(REFUSED))
def test_an_overload_that_the_set_is_not_rated_for_is_refused(name, place):
    rules, site = read_rule_set(name)[0], read_site(place)[0]
    drawn = plan(site, draft(rules, site).program)
    assert not drawn.feasible
    assert any(
        "limit of 420.0 kW" in f.text or "limit of 1050.0 kW" in f.text
        for f in drawn.findings
        if f.severity.value == "refusal"
    )
