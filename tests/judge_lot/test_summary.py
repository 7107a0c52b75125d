"""A judged run in short."""

from __future__ import annotations

import pytest

from harness.judge.lot.summarise import cause, share_of_limit, summary_of
from harness.store import open_store
from harness.store.summary_row import summary_of_row, summary_row


def test_a_swept_run_is_summarised_once_it_is_judged(gainladder, tmp_path):
    from harness.app.run import judged
    from harness.app.summing import summarised

    ended = gainladder("sweep", "configs/jobs/ci.toml", "--unit", "A1", "--fault", "relay-not-picking:1")
    assert ended.code == 1, ended.err
    with open_store(str(tmp_path / "runs.sqlite"), read_only=True) as store:
        header, result = judged(store, store.resolve("last"))
        again = summarised(store, header, result)
        with store.viewing("looking") as connection:
            row = summary_row(connection, store.version, 1)
    made = summary_of_row(row, header.run_id)
    assert (made.items, made.charted, made.diagnoses) == (again.items, again.charted, again.diagnoses)
    assert made.verdict == "FAIL"
    assert made.diagnoses[0] == "relay-not-picking"
    gains = [j for j in result.judgements if j.item == "gain" and j.measured is not None]
    (gain,) = [held for held in made.items if held.item == "gain"]
    assert gain.least == min(j.measured for j in gains)
    assert gain.most == max(j.measured for j in gains)
    assert gain.failing == sum(j.outcome == "FAIL" for j in gains) > 0
    assert made.charted[0].name == "worst residual over its limit"
    assert {one.name for one in made.charted if one.name.startswith("ch")} >= {"ch1 ln K", "ch2 ln K"}
    assert summary_of(header, result, at_utc="", seconds=None, software="").tested == made.tested > 0


@pytest.mark.parametrize(
    ("value", "low", "high", "share"),
    [(1.0, -2.0, 2.0, 0.5), (-3.0, -2.0, 2.0, 1.5), (3.0, None, 4.0, 0.75), (3.0, 1.0, None, None)],
)
def test_shares_of_a_limit(value, low, high, share):
    assert share_of_limit(value, low, high) == share


def test_causes_are_cut():
    assert cause("timeout: source: no answer in 2 s") == "timeout: source"
    assert cause("") == "unknown"


def test_what_a_fault_of_the_station_has_kept_from_being_read_is_counted_under_it(gainladder, tmp_path):
    ended = gainladder("sweep", "configs/jobs/ci.toml", "--unit", "A1", "--fault", "source-load-mis-set")
    assert ended.code == 3, ended.err
    with open_store(str(tmp_path / "runs.sqlite"), read_only=True) as store, store.viewing("looking") as connection:
        short = summary_of_row(summary_row(connection, store.version, 1), "r")
    ((text, count),) = short.invalid
    assert text == "station: source-load-mis-set"
    assert (count, short.tested) == (110, 0)
