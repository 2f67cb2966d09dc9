"""Exit codes as a caller sees them, and what the user is told."""

import os
import subprocess
import sys
import tempfile

import pytest

from benchctl.cli import FAULT, USAGE, main, plan
from benchctl.folders import FolderFault


@pytest.fixture
def broken(monkeypatch, tmp_path):
    """A verb that breaks; reports go into tmp_path."""

    def breaks(*_):
        raise LookupError("no such thing")

    monkeypatch.setattr(plan, "run", breaks)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))


@pytest.mark.skipif(not hasattr(os, "EX_SOFTWARE"), reason="this system has no sysexits.h")
def test_a_fault_of_benchctl_itself_has_the_exit_code_of_sysexits():
    assert os.EX_SOFTWARE == FAULT


@pytest.mark.parametrize("how", [[], ["--json"]])
@pytest.mark.usefixtures("broken")
def test_a_fault_of_benchctl_itself_is_no_usage_error_and_is_kept_for_its_makers(capsys, tmp_path, how):
    assert main(["plan", "ladder", "--site", "northquay", *how]) == FAULT
    (report,) = tmp_path.iterdir()
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == (f"a fault of benchctl itself: LookupError: no such thing; details for its makers: {report}\n")
    assert "Traceback" in report.read_text(encoding="utf-8")


@pytest.mark.usefixtures("broken")
def test_a_fault_whose_report_cannot_be_kept_is_told_all_the_same(capsys, monkeypatch, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))
    assert main(["plan", "ladder", "--site", "northquay"]) == FAULT
    assert capsys.readouterr().err.endswith("could not be kept: No such file or directory\n")


def test_a_verb_that_cannot_be_imported_is_told_without_a_traceback(capsys, monkeypatch, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setitem(sys.modules, "benchctl.cli.plan", None)  # importing it raises ModuleNotFoundError
    assert main(["plan", "ladder", "--site", "northquay"]) == FAULT
    assert capsys.readouterr().err.startswith("a fault of benchctl itself: ModuleNotFoundError: ")


def test_a_file_that_is_not_there_is_a_usage_error(capsys):
    assert main(["plan", "no-such-program", "--site", "northquay"]) == USAGE
    assert "no-such-program" in capsys.readouterr().err


def test_a_folder_that_cannot_be_used_is_the_users_to_mend(capsys, monkeypatch):
    def refuses(*_):
        raise FolderFault("BENCHCTL_STATE=here: expected an absolute path")

    monkeypatch.setattr(plan, "run", refuses)
    assert main(["plan", "ladder", "--site", "northquay"]) == USAGE
    assert capsys.readouterr().err == "BENCHCTL_STATE=here: expected an absolute path\n"


@pytest.mark.parametrize("arguments", [["no-such-verb"], ["plan"]])
def test_usage_errors_exit_2(capsys, arguments):
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == USAGE
    assert "usage: benchctl" in capsys.readouterr().err


def test_the_exit_code_reaches_the_shell(tmp_path):
    breaking = (
        "import benchctl.cli.plan as plan, runpy, sys\n"
        "def breaks(*_): raise LookupError('no such thing')\n"
        "plan.run = breaks\n"
        "sys.argv = ['benchctl', 'plan', 'ladder', '--site', 'northquay']\n"
        "runpy.run_module('benchctl', run_name='__main__')\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", breaking],
        env={**os.environ, "TMPDIR": str(tmp_path)},
        check=False,
        capture_output=True,
        timeout=60,
    )
    assert ended.returncode == FAULT
    assert b"Traceback" not in ended.stderr


def test_without_a_word_it_is_the_console_which_needs_a_terminal(capsys):
    assert main([]) == USAGE
    assert "the console needs a terminal" in capsys.readouterr().err
