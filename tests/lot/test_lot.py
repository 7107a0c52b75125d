"""`gainladder lot`, over generated lots of known truth and over runs that were swept."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.errors import StoreError, UsageError
from harness.lot import Asked, ExportedLot, StoredLot, analyse, lines_of
from harness.store import add_note, open_store
from harness.values import ATTEMPT, GOLDEN_UNIT, Attempt, attempt_text
from tests.lot.generate import SPREAD, export, generate
from tests.store.freeze import FrozenClock

ROOT = Path(__file__).resolve().parents[2]
UNITS = 300


@pytest.fixture(scope="module")
def lot(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lot")
    path = folder / "lot.sqlite"
    with open_store(str(path)) as store:
        truth = generate(store, UNITS, seed=3, shift_at=200)
        export(store, folder / "parquet")
    return path, folder / "parquet", truth


@pytest.fixture
def sources(lot):
    path, folder, _ = lot
    pytest.importorskip("duckdb", reason="duckdb is not installed: pip install 'gainladder[lot]'")
    with open_store(str(path), read_only=True) as store:
        yield StoredLot(store), ExportedLot(folder)


def test_both_sources_say_what_was_drawn(lot, sources):
    truth = lot[2]
    found = [analyse(one, Asked(takt_s=60.0), summarise=None).result for one in sources]
    assert found[0] == found[1]
    one = found[0]
    assert (one.units, one.runs, one.not_judged) == (UNITS, truth["runs"], truth["invalid"])
    assert (one.first_pass.events, one.final.events) == (truth["first"], truth["final"])
    assert one.retest_pass.events == truth["final"] - truth["first"] > 0
    assert one.first_pass.low_ratio < truth["first"] / UNITS < one.first_pass.high_ratio
    assert [(row.name, row.units) for row in one.items] == [("gain", UNITS - truth["first"])]
    assert one.invalid == (("timeout: source", truth["invalid"], 2 * truth["invalid"]),)
    assert one.times.count == truth["runs"] - truth["invalid"]
    assert 0 < one.times.over < one.times.count


def test_a_shift_of_the_process_is_found(sources):
    one = analyse(sources[0], Asked(), summarise=None).result
    assert (len(one.followed), one.more_followed) == (8, 4)
    for followed in one.followed:
        # A third of the units is shifted by a deviation: the mean by a third of it, 4 sigma of a mean of 300 apart.
        assert followed.mean == pytest.approx(SPREAD / 3, abs=4 * SPREAD / UNITS**0.5)
        assert followed.zone_alarms > 2 * followed.zone_expected
        assert followed.cpk_interval[0] < followed.cpk < followed.cpk_interval[1]
    assert [one.cpk for one in one.followed] == sorted(one.cpk for one in one.followed)


def test_over_the_command_line(lot, gainladder):
    path, folder, truth = lot
    ended = gainladder("lot", "--store", str(path), "--takt", "60", "--since", "2026-01-01")
    assert ended.code == 0, ended.err
    assert f"{truth['first']} of {UNITS}" in ended.out
    assert "false alarms expected" in ended.out
    assert "over the takt of 60 s" in ended.out
    out = path.parent / "page.html"
    same = gainladder("lot", "--parquet", str(folder), "--json", "--out", str(out))
    assert f"{truth['final']} of {UNITS}" in out.read_text()
    assert same.json["final"]["events"] == truth["final"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--since", "monday"], "--since: got 'monday'; allowed is a date such as 2026-11-30"),
        (["--job", "other"], "lot: got job 'other': no run is left ("),
        (["--since", "2027-01-01"], "before 2027-01-01); jobs there: job"),
        (["--parquet", "configs"], "--parquet configs: no runs.parquet, run_files.parquet, summaries.parquet"),
        (["--parquet", "configs", "--keep"], "lot: got --parquet and --keep; allowed is --keep with a store"),
        (["--limits", "configs/nothing.toml"], "configs/nothing.toml"),
    ],
)
def test_what_is_refused(lot, gainladder, words, said):
    pytest.importorskip("duckdb")
    ended = gainladder("lot", "--store", str(lot[0]), *words)
    assert ended.code != 0
    assert said in ended.err
    assert "internal error" not in ended.err


def test_an_empty_store_and_a_damaged_folder(tmp_path, lot):
    duckdb = pytest.importorskip("duckdb")
    assert duckdb
    empty = open_store(str(tmp_path / "empty.sqlite"))
    with empty as store, pytest.raises(UsageError, match="lot: no run is recorded"):
        analyse(StoredLot(store), Asked(), summarise=None)
    for name in ("runs", "run_files", "summaries", "events"):
        (tmp_path / f"{name}.parquet").write_bytes(b"nothing")
    with pytest.raises(StoreError, match=r"--parquet .*: cannot be read \(.*\): export it again"):
        ExportedLot(tmp_path).heads()


def test_without_duckdb_it_says_what_to_install(monkeypatch, lot):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(StoreError, match=r"--parquet needs DuckDB.*pip install 'gainladder\[lot\]'"):
        ExportedLot(lot[1])


def test_runs_without_a_summary_are_judged_now_and_kept_on_demand(gainladder, tmp_path):
    from sqlalchemy import delete

    from harness.store.schema import SUMMARIES

    place = ["--store", str(tmp_path / "runs.sqlite")]
    gainladder("sweep", "configs/jobs/ci.toml", "--unit", "A1", "--fault", "relay-not-picking:1", *place)
    gainladder("sweep", "configs/jobs/ci.toml", "--unit", "A1", *place)
    first = gainladder("lot", *place, "--json")
    assert first.code == 0, first.err
    with open_store(place[1]) as store, store.changing("forgetting") as connection:
        connection.execute(delete(SUMMARIES))
    again = gainladder("lot", *place, "--keep")
    assert "2 runs had no summary and were judged now; and kept" in again.err
    kept = gainladder("lot", *place, "--json").json
    for found in (first.json, kept):
        assert (found["first_pass"]["events"], found["final"]["events"], found["judged_now"]) == (0, 1, 0)
        assert found["retest_pass"]["events"] == 1
        assert found["diagnoses"][0]["name"] == "relay-not-picking"
    stricter = tmp_path / "stricter.toml"
    text = (ROOT / "configs/limits/skerry-hr-4.toml").read_text()
    stricter.write_text(text.replace("low = -2.0\nhigh = 2.0\nguard = 0.44", "low = -0.001\nhigh = 0.001", 1))
    strict = gainladder("lot", *place, "--limits", str(stricter), "--json").json
    assert strict["limits"]["now_not_passing"] == ["A1"]
    assert strict["limits"]["final"]["events"] == 0
    same = gainladder("lot", *place, "--limits", "configs/limits/skerry-hr-4.toml", "--json").json
    assert (same["limits"]["now_passing"], same["limits"]["now_not_passing"]) == ([], [])


def test_a_golden_unit_is_no_unit_of_the_lot(tmp_path):
    pytest.importorskip("duckdb")
    with open_store(str(tmp_path / "lot.sqlite")) as store:
        generate(store, 5, seed=3)
        add_note(store, "run-0000002", GOLDEN_UNIT, "", FrozenClock())
        export(store, tmp_path / "out")
        for source in (StoredLot(store), ExportedLot(tmp_path / "out")):
            found = analyse(source, Asked(), summarise=None)
            assert found.left_out == (("of a golden unit", 1),)
            assert found.result.units == 4


def test_a_unit_that_was_repaired_counts_apart(tmp_path):
    pytest.importorskip("duckdb")
    with open_store(str(tmp_path / "lot.sqlite")) as store:
        generate(store, 40, seed=3)
        heads = StoredLot(store).heads()
        before = analyse(StoredLot(store), Asked(), summarise=None).result
        runs = [[head for head in heads if head.unit == unit] for unit in dict.fromkeys(head.unit for head in heads)]
        again = next(own for own in runs if len(own) == 2)
        once = next(own for own in runs if len(own) == 1)
        for head, repaired in ((again[0], ""), (again[1], "K1 replaced"), (once[0], "K2")):
            attempt = Attempt(
                unit=head.unit, job="job", station="s", number=1, most=3, failed_before=False, repaired=repaired
            )
            add_note(store, head.run_id, ATTEMPT, attempt_text(attempt), FrozenClock())
        export(store, tmp_path / "out")
        sources = StoredLot(store), ExportedLot(tmp_path / "out")
        found = [analyse(source, Asked(), summarise=None) for source in sources]
        assert found[0].result == found[1].result
        one = found[0].result
        # One whose whole history lies behind a repair, one whose pass does.
        assert one.repaired.trials == 2
        assert one.first_pass.trials == before.first_pass.trials - 1
        assert one.retest_pass.events == before.retest_pass.events - 1
        assert one.units == before.units
        assert any(line.startswith("repaired ") for line in lines_of(one))


def test_nothing_is_left_without_summaries(lot):
    with open_store(str(lot[0]), read_only=True) as store:
        source = StoredLot(store)
        source.summaries = lambda heads: ((head, None) for head in heads)
        with pytest.raises(UsageError, match=r"lot: no run is left: \d+ without a summary; `gainladder lot --store"):
            analyse(source, Asked(), summarise=None)

        def broken(run_id):
            raise StoreError("damaged")

        with pytest.raises(UsageError, match=r"no run is left: \d+ cannot be judged"):
            analyse(source, Asked(), summarise=broken)


def test_a_server_says_the_same_as_a_file(postgres_server):
    postgres_server.sql("DROP SCHEMA IF EXISTS lot CASCADE", "CREATE SCHEMA lot")
    with open_store(postgres_server.url("lot")) as store:
        truth = generate(store, 20, seed=3)
        found = analyse(StoredLot(store), Asked(), summarise=None).result
    assert (found.units, found.first_pass.events, found.final.events) == (20, truth["first"], truth["final"])
