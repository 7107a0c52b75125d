"""The guard over raises: it runs on coverage data in CI; here on small files."""

from __future__ import annotations

import pytest
from coverage import CoverageData

from tests.guard.raises import main, unmet
from tests.guard.sources import Source, sources

TEXT = """\
def f(x):
    if x:
        raise ValueError(
            "long"
        )
    if not x:  # pragma: no cover - cannot be
        raise KeyError
    try:
        raise TypeError  # pragma: no cover - never
    except OSError:
        raise
    raise IndexError
"""


def found(text, executed):
    return list(unmet(Source(name="harness/law/made.py", room="law", text=text), executed))


def test_unmet_raises_are_listed():
    assert found(TEXT, {1, 2}) == [
        "harness/law/made.py:3: no test reaches `raise ValueError(`",
        "harness/law/made.py:12: no test reaches `raise IndexError`",
    ]


def test_met_raises_are_not():
    assert found(TEXT, {4, 12}) == []


def test_an_excuse_needs_a_reason():
    assert found("raise X  # pragma: no cover\n", {1}) == [
        "harness/law/made.py:1: pragma without a reason; allowed: `# pragma: no cover - reason`"
    ]
    assert len(found("raise X  # pragma: no cover\n", set())) == 2


def test_the_command_reads_coverage_data(tmp_path, capsys, monkeypatch):
    one = Source(name="harness/law/made.py", room="law", text="raise X\n")
    monkeypatch.setattr("tests.guard.raises.sources", lambda: (one,))
    from tests.guard.raises import ROOT

    data = CoverageData(basename=str(tmp_path / "coverage"))
    data.add_lines({str(ROOT / "other.py"): [1]})
    data.write()
    assert main([str(tmp_path / "coverage")]) == 1
    assert "harness/law/made.py:1: no test reaches `raise X`" in capsys.readouterr().err
    data.add_lines({str(ROOT / one.name): [1]})
    data.write()
    data.close()
    assert main([str(tmp_path / "coverage")]) == 0
    assert "every raise is met by a test" in capsys.readouterr().out


def test_the_command_wants_its_file(tmp_path, capsys):
    assert main([]) == 2
    assert main([str(tmp_path / "none")]) == 2
    assert "usage: python -m tests.guard.raises COVERAGE_FILE" in capsys.readouterr().err


def test_data_of_nothing_is_refused(tmp_path, capsys):
    CoverageData(basename=str(tmp_path / "coverage")).write()
    (tmp_path / "coverage").touch()
    assert main([str(tmp_path / "coverage")]) == 2
    assert "no file was measured" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["harness/errors.py", "harness/store/store.py"])
def test_the_files_of_the_project_are_read(name):
    assert name in {source.name for source in sources()}
