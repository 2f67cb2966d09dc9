"""The verb verify: 0 only if unaltered since sealing; a single flipped bit anywhere is noticed."""

import json
import shutil

import pytest

from tests.cli.verbs import Verbs
from tests.report.made import on_disk


@pytest.fixture
def verb(capsys):
    return Verbs(capsys)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return on_disk(tmp_path_factory.mktemp("runs"))


def copied(run, folder):
    for path in (run, run.with_name(run.name + ".seal")):
        shutil.copy(path, folder)
    return folder / run.name


def test_a_sealed_record_is_unaltered_and_the_hash_is_told_with_what_it_is_worth(verb, run):
    code, out, _ = verb("verify", run)
    assert code == 0
    assert "unaltered since it was sealed" in out
    assert "printed in the signed report" in out


def test_a_single_flipped_bit_anywhere_is_noticed(verb, run, tmp_path):
    path = copied(run, tmp_path)
    data = path.read_bytes()
    for i, place in enumerate([0, 15, 18, len(data) - 1, *range(99, len(data), max(1, len(data) // 30))]):
        altered = bytearray(data)
        altered[place] ^= 1 << i % 8
        path.write_bytes(altered)
        assert verb("verify", path)[0] != 0, place


def test_a_record_without_a_seal_is_not_shown_to_be_unaltered(verb, run, tmp_path):
    shutil.copy(run, tmp_path)
    code, out, _ = verb("verify", tmp_path / run.name)
    assert code == 1
    assert "not shown to be unaltered" in out


def test_a_record_cut_short_or_made_longer_is_noticed(verb, run, tmp_path):
    path = copied(run, tmp_path)
    data = path.read_bytes()
    for other in (data[:-4096], data + b"\0", b""):
        path.write_bytes(other)
        assert verb("verify", path)[0] != 0


def test_what_lies_beside_a_record_must_name_its_hash(verb, run, tmp_path):
    path = copied(run, tmp_path)
    verb("assess", path, "--rule-set", "iso8528-g2", "--save")
    kept = tmp_path / "trial.run.verdicts.json"
    code, (row,), _ = verb.rows("verify", path)
    assert (code, [beside["file"] for beside in row["beside"]]) == (0, [kept.name])
    assert row["beside"][0]["told"] == "iso8528-g2 not demonstrated"
    text = kept.read_text(encoding="utf-8")
    data = json.loads(text)
    del data["content_hash"]  # as they were kept once
    kept.write_text(json.dumps(data, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    assert verb("verify", path)[0] == 0
    data["hash"] = "00" * 32
    kept.write_text(json.dumps(data, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    code, (row,), _ = verb.rows("verify", path)
    assert code == 1
    assert "another record" in row["altered"][0]
    for place in range(0, len(text), max(1, len(text) // 40)):
        other = bytearray(text.encode())
        other[place] ^= 1 << place % 7
        kept.write_bytes(other)
        assert verb("verify", path)[0] == 1, place


def test_a_report_is_checked_and_names_its_record(verb, run, tmp_path):
    verb("report", run, "--out", tmp_path)
    for name in ("trial.pdf", "trial.html", "trial.csv", "trial-semicolon.csv"):
        code, (row,), _ = verb.rows("verify", tmp_path / name)
        assert (code, row["unaltered"], row["kind"]) == (0, True, "report")
    data = bytearray((tmp_path / "trial.pdf").read_bytes())
    data[len(data) // 2] ^= 4
    (tmp_path / "trial.pdf").write_bytes(data)
    code, out, _ = verb("verify", tmp_path / "trial.pdf")
    assert code == 1
    assert "ALTERED" in out


def test_what_is_not_there_is_told_in_a_line(verb, tmp_path):
    code, _, said = verb("verify", tmp_path / "none.pdf")
    assert code == 2
    assert len(said.splitlines()) == 1
