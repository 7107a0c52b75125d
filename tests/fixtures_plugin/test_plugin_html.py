"""The HTML report of a session, read back: columns, figures, rows of other tests, and the run above all rows."""

from __future__ import annotations

import html
import json
import re
from typing import Any

import pytest

from harness.app.suite import head_cells, row_cells
from tests.fixtures_plugin.short_job import Run

pytest_plugins = ["pytester"]


def test_rows_sort_by_margin_as_numbers_do() -> None:
    margins = [-228.7, -0.02, 0.0, 0.5, 12.0]
    cells = [row_cells({"gainladder_claim": "x", "margin_number": repr(margin)})[-1] for margin in margins]
    assert cells == sorted(cells)
    assert len(row_cells({})) == len(head_cells())
    assert "".join(row_cells({"outcome": "FAIL"})).count("FAIL") == 0


def test_the_report_shows_numbers_figures_and_the_run(run: Run, pytester: pytest.Pytester) -> None:
    pytest.importorskip("pytest_html")
    pytester.makepyfile(test_own="def test_it():\n    pass\n")
    result = run(
        "test_acceptance.py", "test_own.py", "-k", "test_it or ch2-2V-gain or ch2-2V-word",
        "--fault", "relay-not-picking:2", "--html", "r.html", "--self-contained-html",
    )  # fmt: skip
    assert result.ret == 1
    page = (pytester.path / "r.html").read_text()
    blob: dict[str, Any] = json.loads(html.unescape(re.search(r'data-jsonblob="([^"]*)"', page)[1]))
    rows = {name.partition("::")[2]: tests[0] for name, tests in blob["tests"].items()}
    heads = re.findall(r"<th[^>]*>(\w+)</th>", page)
    wanted = ["Result", "Test", "Outcome", "Item", "Measured", "U", "Limit", "Margin", "Duration"]
    assert heads[heads.index("Result") :][:9] == wanted
    cells = rows["test_claim[ch2-2V-gain]"]["resultsTableRow"]
    shown = [re.sub(r"<span.*?</span>|<[^>]*>", "", cell) for cell in cells]
    assert shown[0] == "Failed"
    assert shown[2:4] == ["FAIL", "gain"]
    assert re.match(r"\+2[23]\d", shown[4])
    assert shown[6] == "−2 % to +2 %"
    assert rows["test_claim[ch2-2V-gain]"]["outcome"] == "FAIL"
    (extra,) = rows["test_claim[ch2-2V-gain]"]["extras"]
    assert len(re.findall(r'data-value="2[23]\d\.', extra["content"])) == 2
    assert "<table" in rows["test_claim[ch2-2V-word]"]["extras"][0]["content"]
    # A test of the user's own has the same number of cells, and nothing of ours in them.
    own = rows["test_it"]
    assert len(own["resultsTableRow"]) == len(shown)
    assert own["extras"] == []
    above = page.split("</h2>")[2]
    assert re.search(r"SHA-256 [0-9a-f]{64}", above)
    assert "rows against the record" in above


def test_a_session_without_claims_keeps_its_columns(run: Run, pytester: pytest.Pytester) -> None:
    pytest.importorskip("pytest_html")
    pytester.makepyfile(test_own="def test_it():\n    pass\n")
    assert run("test_own.py", "--html", "r.html", "--self-contained-html").ret == 0
    page = (pytester.path / "r.html").read_text()
    assert "Margin" not in page
    assert "gainladder: what was run" not in page
