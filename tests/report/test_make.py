"""The files of a report, looked at by others: pypdf for the PDF (ISO 32000), Python's own parsers for HTML and SVG."""

import io
import json
import re
from html.parser import HTMLParser

import pytest
from pypdf import PdfReader

from benchctl.core.decision import Settings
from benchctl.record.recorder import Recorder
from benchctl.record.seal import file_hash
from benchctl.report.content import content
from benchctl.report.make import open_run, write
from benchctl.report.page import page
from benchctl.report.typeset import typeset
from tests.record.bench import frames, recorded
from tests.report.made import YARD, made, made_run, on_disk, sound

A4, LETTER = (595, 842), (612, 792)  # points, ISO 216 and ANSI
MOST_HTML = 2 * 1024 * 1024


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return on_disk(tmp_path_factory.mktemp("runs"), 120)


@pytest.fixture(scope="module")
def files(run, tmp_path_factory):
    return {path.name: path for path in write(open_run(run, ["nfpa110-monthly"]), tmp_path_factory.mktemp("out")).files}


@pytest.fixture(scope="module")
def pdf(files):
    return PdfReader(files["trial.pdf"])


def test_a_report_is_a_pdf_a_page_two_tables_and_their_hashes(files):
    assert sorted(files) == ["trial-semicolon.csv", "trial.csv", "trial.html", "trial.pdf", "trial.sha256"]


def test_the_same_record_gives_the_same_bytes(run, files, tmp_path):
    again = write(open_run(run, ["nfpa110-monthly"]), tmp_path)
    assert {p.name: p.read_bytes() for p in again.files} == {name: p.read_bytes() for name, p in files.items()}


def test_the_list_of_hashes_is_as_sha256sum_writes_it(files):
    rows = [line.split("  ") for line in files["trial.sha256"].read_text().splitlines()]
    assert {name: file_hash(files[name]) for _, name in rows} == {name: digest for digest, name in rows}
    assert len(rows) == 4


def test_the_pdf_says_that_it_is_archivable_and_accessible(pdf):
    root = pdf.trailer["/Root"]
    xmp = root["/Metadata"].get_data().decode()
    assert re.search(r"pdfaid:part>3<|pdfaid:part=\"3\"", xmp)
    assert re.search(r"pdfaid:conformance>A<|pdfaid:conformance=\"A\"", xmp)
    assert re.search(r"pdfuaid:part>1<|pdfuaid:part=\"1\"", xmp)
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].lower().startswith("en")
    assert all("/URI" not in str(page.get("/Annots", "")) for page in pdf.pages)


def test_the_pdf_embeds_every_sample_the_verdicts_and_the_facts(pdf, files, run):
    inside = {name: data[0] for name, data in pdf.attachments.items()}
    assert sorted(inside) == ["trial.csv", "trial.figures.json", "trial.verdicts.json"]
    assert inside["trial.csv"] == files["trial.csv"].read_bytes()
    assert json.loads(inside["trial.figures.json"])["record_sha256"] == file_hash(run)


def test_the_pages_show_the_whole_hash_and_how_to_check_it(pdf, run):
    text = "".join("".join(page.extract_text().split()) for page in pdf.pages)
    assert file_hash(run) in text
    assert "sha256sumtrial.run" in text
    assert f"page1of{len(pdf.pages)}" in text


@pytest.mark.parametrize(("paper", "size"), [("a4", A4), ("letter", LETTER)])
def test_papers(paper, size):
    made_pdf = PdfReader(io.BytesIO(typeset(content(made()), (), paper, made().begun)))
    assert {(round(p.mediabox.width), round(p.mediabox.height)) for p in made_pdf.pages} == {size}


def test_the_pdf_is_dated_by_the_run(pdf, run):
    assert pdf.metadata["/CreationDate"].startswith("D:2026")


def test_a_name_in_a_script_that_the_typeface_has_not_is_told_as_code_points():
    dossier = made(made_run(outcome="測 done"))
    text = "".join(
        p.extract_text() for p in PdfReader(io.BytesIO(typeset(content(dossier), (), "a4", dossier.begun))).pages
    )
    assert "U+6E2C" in text


class Seen(HTMLParser):
    """Collects what a page holds."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attrs: list[tuple[str, str]] = []
        self.text: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attrs += [(name, value or "") for name, value in attrs]

    def handle_data(self, data):
        self.text.append(data)


def test_the_page_asks_nobody_for_anything(files):
    text = files["trial.html"].read_text(encoding="utf-8")
    seen = Seen(text)
    assert "script" not in seen.tags
    assert not {"link", "iframe", "object", "embed", "form", "base"} & set(seen.tags)
    assert {v.split(":")[0] for k, v in seen.attrs if k in ("href", "src", "action")} <= {"data"}
    assert set(re.findall(r"https?://[^\s\"'<]+", text)) == {"http://www.w3.org/2000/svg"}
    assert any(k == "content" and v.startswith("default-src 'none'") for k, v in seen.attrs)
    assert not [k for k, _ in seen.attrs if k.startswith("on")]
    assert len(text.encode()) <= MOST_HTML


def test_text_from_the_site_is_no_markup_in_the_page():
    hostile = made(made_run(outcome='</p><script>alert(1)</script><img src="x" onerror="y">'))
    seen = Seen(page(content(hostile), ()))
    assert "script" not in seen.tags
    assert YARD.title in seen.text
    assert '</p><script>alert(1)</script><img src="x" onerror="y">' in seen.text


def test_pdf_and_page_are_drawn_from_the_same_content(files, pdf):
    page_text = "".join("".join(Seen(files["trial.html"].read_text(encoding="utf-8")).text).split())
    pdf_text = "".join("".join(p.extract_text().split()) for p in pdf.pages)
    for said in ("Whatismissingorexpired", "Monthlyexercise,30%for30min", "Whatthistestdoesnotshow"):
        assert said in page_text
        assert said in pdf_text


@pytest.mark.parametrize("count", [0, 1])
def test_a_run_without_samples_or_with_one_has_a_report(tmp_path, count):
    made_files = write(open_run(on_disk(tmp_path, count), ["nfpa110-monthly", "iso8528-g2"]), tmp_path / "out")
    assert not made_files.fault
    assert "not demonstrated" in (tmp_path / "out" / "trial.html").read_text(encoding="utf-8")


def test_load_by_hand_has_a_report_without_a_plan(tmp_path):
    settings = Settings.of(sound().site)
    path = recorded(tmp_path / "hand.run", frames(20, settings), settings)
    assert not write(open_run(path), tmp_path / "out").fault
    text = (tmp_path / "out" / "hand.html").read_text(encoding="utf-8")
    assert "load by hand, without a program" in text
    assert "there was no plan" in text


def test_of_a_run_that_is_still_being_written_there_is_a_report_that_says_so(tmp_path):
    settings = sound()
    recorder = Recorder(tmp_path / "open.run", settings, {}, ())
    try:
        for frame in frames(10, settings):
            recorder.write(frame)
        dossier = open_run(tmp_path / "open.run")
        assert not write(dossier, tmp_path / "out").fault
    finally:
        recorder.close("done", {})
    text = (tmp_path / "out" / "open.html").read_text(encoding="utf-8")
    assert "The record was not closed: the run is being written" in text
    assert "the record is not sealed" in text
