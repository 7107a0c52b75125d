"""The page of two runs, and the page of a lot, read back."""

from __future__ import annotations

import dataclasses
import re
from types import SimpleNamespace

import pytest

from harness import report
from harness.errors import NotFinite
from harness.values import Outcome, RunComparison, RunHeader, SettingChange


def comparison(made: SimpleNamespace) -> RunComparison:
    before = {row.setting: row for row in made.good.settings}
    return RunComparison(
        changes=tuple(
            SettingChange(
                setting=row.setting, label=row.label, later=row.outcome, earlier=before[row.setting].outcome,
                later_percent=row.residual_percent, earlier_percent=before[row.setting].residual_percent,
                change_percent=row.residual_percent - before[row.setting].residual_percent,
                expanded_percent=0.1, moved=abs(row.residual_percent - before[row.setting].residual_percent) > 0.1,
            )
            for row in made.failing.settings
        ),
        only_now=2, only_before=1, same_source=True,
    )  # fmt: skip


def dots(page: str, shape: str) -> int:
    return len(re.findall(rf"M[\d.]+ [\d.]+{shape}", page))


def test_two_runs(made: SimpleNamespace) -> None:
    found = comparison(made)
    old = made.header(run_id="20261124T000000-00000000", unit="A0", seed=2)
    page = report.against_html((made.header(), made.failing), (old, made.good), found)
    flipped = [one for one in found.changes if one.later is not one.earlier]
    moved = [one for one in found.changes if one.moved]
    assert f"run was PASS. {len(flipped)} of 924 settings come out otherwise; the gain of {len(moved)} has" in page
    assert "Two units: what differs between them has not moved in either." in page
    assert "<dt>Earlier</dt><dd>2026-11-25 09:59:57 UTC, run 20261124T000000-00000000, unit A0</dd>" in page
    assert "2 settings are only in the later run, 1 only in the earlier one" in page
    assert dots(page, r"h\.1") == 924 - len(moved)
    assert dots(page, "l6 6") == len(moved)
    rows = re.findall(r'<tr><th scope="row">(ch\d [^<]*)</th>', page)
    worth = [one.label for one in found.changes if one.later is not one.earlier or one.moved]
    assert set(rows) <= set(worth)
    assert len(rows) == min(len(worth), 200)
    assert rows[0] in {one.label for one in flipped}
    # One alone is told as one.
    single = dataclasses.replace(found, changes=(flipped[0], dataclasses.replace(flipped[0], later=flipped[0].earlier)))
    alone = report.against_html((made.header(), made.failing), (old, made.good), single)
    assert "1 of 2 settings comes out otherwise" in alone
    assert "1 setting comes out otherwise</title>" in alone
    assert re.search(r'<th scope="row">unit</th><td>A0</td><td class="differs">A1</td>', page)
    assert re.search(r'<th scope="row">software</th><td>0.1.0</td><td>0.1.0</td>', page)
    assert page == report.against_html((made.header(), made.failing), (old, made.good), found)


def test_two_runs_without_a_setting_in_common(made: SimpleNamespace) -> None:
    nothing = RunComparison(changes=(), only_now=3, only_before=4, same_source=False)
    page = report.against_html((made.header(), made.good), (made.header(), made.good), nothing)
    assert "No setting was measured in both runs." in page
    assert "The earlier run too was PASS." in page
    assert "Two units" not in page


def units(made: SimpleNamespace, number: int) -> list[tuple[RunHeader, object]]:
    return [(made.header(unit=f"<U{n}>", run_id=f"run-{n}"), made.metrology) for n in range(number)]


def test_a_lot(made: SimpleNamespace) -> None:
    runs = [*units(made, 2), (made.header(unit="last", run_id="run-9"), made.good)]
    page = report.lot_html(runs, [("run-0", "another job or device file")])
    assert "<h1>3 units</h1>" in page
    assert f"job {made.header().file('job').path}; 2026-11-25 09:59:57 UTC.</p>" in page
    names = re.findall(r'<tr><th scope="row">([^<]*)</th>', page)
    assert names[:3] == ["last", "&lt;U1&gt;", "&lt;U0&gt;"]
    assert "another job or device file" in page
    failed = sum(row.outcome is Outcome.FAIL for row in made.metrology.settings)
    assert dots(page, "l6 6") == 2 * failed
    assert dots(page, r"h\.1") == 3 * 924 - 2 * failed
    # One strip a parameter that readings tell, each unit a number in it.
    known = [row for row in made.metrology.parameters if row.identifiable]
    assert len(re.findall(r"data-value=", page)) == 2 * len(known)
    assert page == report.lot_html(runs, [("run-0", "another job or device file")])


def test_many_units_are_listed_and_the_last_ones_drawn(made: SimpleNamespace) -> None:
    runs = [(header, made.small) for header, _ in units(made, 40)]
    page = report.lot_html(runs, [])
    assert len(re.findall(r'<tr><th scope="row">', page)) == 40
    assert dots(page, r"h\.1") == 30 * 231
    assert "All settings of the last 30 units" in page
    assert "not on this page" not in page
    assert len(page.encode()) < 300_000


def test_a_number_that_is_not_finite_is_refused(made: SimpleNamespace) -> None:
    bad = dataclasses.replace(made.good, gain_guard_percent=float("nan"))
    with pytest.raises(NotFinite, match="gain_guard_percent"):
        report.lot_html([(made.header(), bad)], [])
    with pytest.raises(NotFinite, match="gain_guard_percent"):
        report.against_html((made.header(), bad), (made.header(), made.good), comparison(made))
