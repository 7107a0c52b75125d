"""The pytest plugin, run by a pytest of its own: what a user sees, and what the exit code says."""

from __future__ import annotations

import re

import pytest

from fixtures.session import SuiteSession
from harness.store import open_store
from harness.values import attempt_of, ended_as_of
from tests.fixtures_plugin.short_job import CONFIGS, NAMES, Run, names, properties

pytest_plugins = ["pytester"]


def test_a_good_unit_passes_every_claim(run: Run) -> None:
    result = run("--unit", "A1", "--seed", "1", alone=True)
    assert result.ret == 0
    result.assert_outcomes(passed=len(NAMES))
    assert names(result, "PASSED") == NAMES


def test_a_faulty_unit_fails_exactly_its_claims(run: Run, pytester: pytest.Pytester) -> None:
    result = run(
        "--seed", "1", "--fault", "relay-not-picking:2", "--junitxml", "j.xml", "--store", "runs.sqlite", alone=True
    )
    assert result.ret == 1
    # K1 is needed by the 2 V range alone: its gain is ten times too high, and so are the steps into and out of it. It
    # takes no part in the fit of the law, so nothing is decided about its residual.
    # Tries at the planned level may contradict the record that follows them: not looked at here. Of two channels that
    # differ nothing says which is wrong: that the other one matches is not decided.
    assert names(result, "FAILED") == {
        "ch2-2V-gain", "ch2-2V-coarse-step", "ch2-10mV-coarse-step", "ch2-2V-channel-match",
    }
    assert names(result, "PASSED") == NAMES - names(result, "FAILED") - {"ch2-2V-residual", "ch1-2V-channel-match"}
    result.stdout.fnmatch_lines([
            "*ch2-2V-gain: FAIL: measured +2*, limit *, margin −2*; ch2 2V 100 %: gain off by +2*; "
            "likely cause: relay-not-picking: *"
        ])
    assert "Traceback" not in result.stdout.str()
    found = properties(pytester.path / "j.xml")
    assert found["gainladder_exit_code"] == "1"
    assert found["gainladder_verdict"] == "FAIL"
    assert found["gainladder_run"]
    assert (pytester.path / "runs.sqlite").stat().st_size > 0


def test_inconclusive_claims_are_skipped_with_their_reason_and_the_session_is_not_green(run: Run) -> None:
    result = run("--unit", "A1", more="capture_words = false")
    assert result.ret == 1
    # Neither words nor bus are claimed; the waveform alone decides realness, but for one range of three settings.
    result.assert_outcomes(passed=len(NAMES) - 9, skipped=9)
    result.stdout.fnmatch_lines(["*ch1-5V-word: INCONCLUSIVE: nothing was decided about it*"])
    result.stdout.fnmatch_lines(["*ch1-bus-timing: INCONCLUSIVE: nothing was decided about it*"])


def test_nothing_but_inconclusive_claims_is_not_green(run: Run) -> None:
    result = run("-k", "word", more="capture_words = false")
    assert result.ret == 1
    result.assert_outcomes(skipped=6, deselected=len(NAMES) - 6)


def test_invalid_claims_are_errors_and_not_failures(run: Run, pytester: pytest.Pytester) -> None:
    text = (CONFIGS / "benches/simulated.toml").read_text()
    bench = pytester.path / "bench.toml"
    assert "capacity = 20000" in text
    bench.write_text(text.replace("capacity = 20000", "capacity = 50").replace('"../', f'"{CONFIGS}/'))
    result = run("-k", "word or -gain", "--junitxml", "j.xml", "--bench", str(bench))
    assert result.ret == 1
    result.assert_outcomes(passed=6, errors=6, deselected=len(NAMES) - 12)
    result.stdout.fnmatch_lines(["*ch1-5V-word: INVALID: *; ch1 5V 100 %: no word: the adapter dropped events*"])
    assert properties(pytester.path / "j.xml")["gainladder_exit_code"] == "3"


def test_a_station_fault_is_an_error_of_every_claim_and_named(run: Run, pytester: pytest.Pytester) -> None:
    result = run("-k", "gain", "--fault", "source-load-mis-set", "--junitxml", "j.xml")
    assert result.ret == 1
    result.assert_outcomes(errors=6, deselected=len(NAMES) - 6)
    result.stdout.fnmatch_lines(["*StationFault: *the load reads back as 50*"])
    assert properties(pytester.path / "j.xml")["gainladder_exit_code"] == "3"


@pytest.mark.usefixtures("no_bench")
def test_collecting_opens_nothing_and_names_the_claims(run: Run) -> None:
    result = run("--collect-only", "-q")
    assert result.ret == 0
    assert {line.partition("[")[2].rstrip("]") for line in result.outlines if "test_claim[" in line} == NAMES
    assert "a bench was opened" in run("-k", "ch1-5V-gain").stdout.str()


def test_a_real_bench_is_collected_without_a_look_at_it(run: Run) -> None:
    assert run("--collect-only", "-q", "--bench", str(CONFIGS / "benches/lan-and-serial.toml")).ret == 0


@pytest.mark.usefixtures("no_bench")
def test_a_real_bench_needs_a_serial_number(run: Run) -> None:
    result = run("-k", "ch1-5V-gain", "--bench", str(CONFIGS / "benches/lan-and-serial.toml"))
    assert result.ret == 1
    result.stdout.fnmatch_lines(["*UsageError: a real bench needs --unit SERIAL*"])


@pytest.mark.usefixtures("no_bench")
def test_parallel_workers_are_refused(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTEST_XDIST_WORKER", "gw0")
    result = run("--bench", str(CONFIGS / "benches/lan-and-serial.toml"), "--unit", "A1")
    assert result.ret not in (0, 5)
    result.stdout.fnmatch_lines(["*one bench has one owner: run the acceptance suite without parallel workers*"])
    assert "a bench was opened" not in result.stdout.str()


def test_parallel_workers_with_a_bench_each_tell_the_session_what_was_inconclusive(
    run: Run, pytester: pytest.Pytester
) -> None:
    pytest.importorskip("xdist")
    options = ("-k", "ch1-5V and (word or gain)", "--seed", "4", "--junitxml", "j.xml", "--html", "r.html")
    result = run("-n", "1", *options, more="capture_words = false", alone=True)
    assert result.ret == 1
    result.assert_outcomes(passed=1, skipped=1)
    # What was run stands in both files, though another process ran it.
    said = properties(pytester.path / "j.xml")
    assert (said["gainladder_seed"], said["gainladder_ranges"]) == ("4", "1 of 6")
    assert re.fullmatch(r"skerry-hr-4.toml sha256 [0-9a-f]{64}", said["gainladder_file_limits"] or "")
    assert said["gainladder_run"] in (pytester.path / "r.html").read_text()


PRODUCTION = '[production]\ngolden_units = ["G1"]\nleast_free_mb = 0\nsimulated = true\n'


@pytest.mark.usefixtures("no_bench")
def test_a_locked_station_is_locked_for_the_suite_too(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    result = run("-k", "ch1-5V-gain", more=PRODUCTION)
    assert result.ret == 1
    result.stdout.fnmatch_lines(["LockedOut: station simulated bench is locked, nothing was *:", "*golden-miss*"])
    assert "a bench was opened" not in result.stdout.str()
    refused = run("-k", "ch1-5V-gain", "--lift", "disk-low=no", more=PRODUCTION)
    refused.stdout.fnmatch_lines(["UsageError: --lift: got 'disk-low=no'*"])
    monkeypatch.setenv("PYTEST_XDIST_WORKER", "gw0")
    apart = run(more=PRODUCTION)
    assert apart.ret not in (0, 5)
    apart.stdout.fnmatch_lines(["*a job with [[]production[]] counts each run of a unit*"])


def test_a_part_of_the_ladder_is_counted_and_passes_nothing(
    run: Run, pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.app.production.active_locks", lambda facts: ())
    store = str(pytester.path / "s.sqlite")
    run("-k", "ch1-5V-gain", "--store", store, "--unit", "A1", "--repaired", "K1", more=PRODUCTION).assert_outcomes(
        passed=1, deselected=len(NAMES) - 1
    )
    with open_store(store, read_only=True) as opened:
        events = opened.events(opened.resolve("last"))
    begun, ended = attempt_of(events), ended_as_of(events)
    assert begun is not None
    assert (begun.unit, begun.number, begun.repaired) == ("A1", 1, "K1")
    assert ended is not None
    assert str(ended.outcome) == "INVALID"


def test_what_two_workers_say_of_one_run_is_told_once() -> None:
    session = SuiteSession()
    first = session.add_sent({"pages": ["p"], "properties": [["a", "1"], ["b", "2"]]})
    assert first == [("a", "1"), ("b", "2")]
    assert session.add_sent({"pages": ["p"], "properties": [["a", "1"], ["b", "3"]]}) == [("b", "3")]
    assert session.add_sent({}) == []
    assert session.pages == ["p"]


def test_bad_files_are_told_in_words_without_a_traceback(run: Run) -> None:
    result = run(more="retrys = 3", limits=f"{CONFIGS}/limits/none.toml")
    assert result.ret == 2
    result.stdout.fnmatch_lines(["*retrys: got an unknown key*"])
    assert "Traceback" not in result.stdout.str()
    assert "fixtures/plugin.py" not in result.stdout.str()


def test_a_limits_file_that_is_missing_is_named(run: Run) -> None:
    result = run(limits=f"{CONFIGS}/limits/none.toml")
    assert result.ret == 2
    result.stdout.fnmatch_lines(["*none.toml*No such file*"])


def test_no_claims_at_all_is_never_a_success(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fixtures.plugin.planned_claims", lambda setup: [])
    result = run()
    assert result.ret == 2
    result.stdout.fnmatch_lines(["*make no claim: nothing run is never a success*"])


def test_deselecting_everything_is_never_a_success(run: Run) -> None:
    assert run("-k", "no_such_claim").ret == 5


def test_other_suites_are_left_alone(run: Run, pytester: pytest.Pytester) -> None:
    pytester.makepyfile(test_other="def test_it():\n    pass\n")
    result = run("test_other.py")
    assert result.ret == 0
    result.assert_outcomes(passed=1)
