"""The HTML report of a session in a real browser: rows sort by margin, filter by outcome, and print."""

from __future__ import annotations

import json
import re
import subprocess
from html import unescape
from pathlib import Path

import pytest

from tests.fixtures_plugin.short_job import Run
from tests.report.test_browser import CHROMIUM, FLAGS, opened

pytest_plugins = ["pytester"]
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on PATH: the report was not opened in a browser"),
]

PROBE = """<script>addEventListener('load', () => {
const last = cell => (cell.lastChild || {textContent: ''}).textContent;
const rows = () => [...document.querySelectorAll('.results-table-row')].map(
  row => [row.querySelector('.col-result').textContent, last(row.querySelector('.col-margin'))]);
const said = {figures: document.querySelectorAll('[data-value]').length};
document.querySelector('th[data-column-type="margin"]').click();
said.up = rows();
document.querySelector('th[data-column-type="margin"]').click();
said.down = rows();
document.querySelector('input[data-test-result="passed"]').click();
said.filtered = rows();
document.body.setAttribute('data-said', JSON.stringify(said));
console.log('probe-ran');
});</script></body>"""
"""Only the test adds a script."""


def test_rows_sort_filter_and_print(run: Run, pytester: pytest.Pytester, tmp_path: Path) -> None:
    run(
        "-k", "ch2-2V and (gain or fine-step or coarse-step or residual)", "--fault", "relay-not-picking:2",
        "--html", "r.html", "--self-contained-html",
    )  # fmt: skip
    page = (pytester.path / "r.html").read_text()
    dom, log = opened(page.replace("</body>", PROBE), tmp_path)
    assert [line for line in log.splitlines() if "CONSOLE" in line and "probe-ran" not in line] == []
    said = json.loads(unescape(re.search(r'data-said="([^"]*)"', dom)[1]))
    numbers = [float(margin.replace("−", "-").rstrip(" %")) for _, margin in said["up"] if margin.endswith("%")]
    assert len(numbers) >= 3
    assert numbers in (sorted(numbers), sorted(numbers, reverse=True))
    assert said["down"] != said["up"]
    assert {result for result, _ in said["up"]} == {"Passed", "Failed", "Skipped"}
    assert said["filtered"]
    assert "Passed" not in {result for result, _ in said["filtered"]}
    assert said["figures"] >= 4
    printed = tmp_path / "page.pdf"
    command = [str(CHROMIUM), *FLAGS, f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={printed}"]
    subprocess.run([*command, (tmp_path / "page.html").as_uri()], capture_output=True, timeout=90, check=True)
    assert printed.read_bytes().startswith(b"%PDF-")
