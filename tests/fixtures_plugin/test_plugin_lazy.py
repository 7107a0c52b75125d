"""Ranges are swept as they are asked for; a user's own tests; a recorded run; rows against the record."""

from __future__ import annotations

import re
import socket
from pathlib import Path

import pytest

from harness.errors import OpenFailed
from harness.judge import RunJudge
from harness.store import open_store
from harness.values import RunInfo
from tests.fixtures_plugin.short_job import CONFIGS, NAMES, ROOT, Run, names, properties

pytest_plugins = ["pytester"]


def recorded(path: Path) -> tuple[RunInfo, dict[tuple[int, int], int], list[str]]:
    """The store's only run, its readings by channel and coarse index, and its journal."""
    with open_store(str(path), read_only=True) as store:
        (info,) = store.runs()
        found: dict[tuple[int, int], int] = {}
        for reading in store.readings(info.header.run_id):
            key = (reading.setting.channel, reading.setting.coarse)
            found[key] = found.get(key, 0) + 1
        return info, found, [event.text for event in store.events(info.header.run_id)]


def test_a_chosen_range_sweeps_itself_and_the_one_below_and_its_record_can_be_asked_again(
    run: Run, pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    result = run("-k", "ch2 and 2V and not match", "--store", "runs.sqlite", "--junitxml", "j.xml")
    assert result.ret == 0
    chosen = names(result, "PASSED")
    assert {name.partition("-")[2].partition("-")[0] for name in chosen} == {"2V"}
    assert {"ch2-2V-residual", "ch2-2V-coarse-step", "ch2-2V-realness", "ch2-2V-word"} < chosen
    info, found, journal = recorded(pytester.path / "runs.sqlite")
    # The ladder holds 2 channels, 3 ranges, 2 positions, both ways; 5 V is below 2 V there.
    assert found == {(2, 2): 4, (2, 3): 4}
    assert (info.header.planned, info.readings, info.end) == (24, 8, "stopped")
    assert journal[-1] == "2 of 6 ranges were asked for"
    said = properties(pytester.path / "j.xml")
    assert (said["gainladder_verdict"], said["gainladder_ranges"]) == ("PASS", "2 of 6")
    assert re.fullmatch(r"skerry-hr-4.toml sha256 [0-9a-f]{64}", said["gainladder_file_limits"] or "")

    # The same from the record: no bench is opened, and a range that was not swept is no pass.
    decided: list[int] = []
    result_of = RunJudge.result
    monkeypatch.setattr(
        RunJudge,
        "result",
        lambda judge, events=(), *, only=None: decided.append(1) or result_of(judge, events, only=only),
    )
    again = run("-k", "ch2 and 2V and not match", "--store", "runs.sqlite", "--run", "last")
    assert names(again, "PASSED") == chosen
    # All that a record holds is decided once, however many claims are made of it.
    assert len(decided) == 1
    more = run("-k", "ch1 and 2V and gain", "--store", "runs.sqlite", "--run", "last")
    assert more.ret == 1
    more.stdout.fnmatch_lines(["*ch1-2V-gain: INCONCLUSIVE: nothing was decided about it*"])


def test_a_record_has_no_bench_and_must_be_named(run: Run, pytester: pytest.Pytester) -> None:
    pytester.makepyfile(test_own="def test_it(source):\n    pass\n")
    missing = run("-k", "ch1-2V-gain", "--run", "last")
    assert missing.ret == 2
    missing.stdout.fnmatch_lines(["*--run last needs --store URL: where the run is recorded*"])
    assert run("-k", "ch1-5V-gain", "--store", "runs.sqlite").ret == 0
    refused = run("test_own.py", "--store", "runs.sqlite", "--run", "last")
    assert refused.ret == 1
    refused.stdout.fnmatch_lines(["*is a record: a test that needs the bench cannot run on it; leave out --run*"])


def test_the_tests_that_the_readme_shows_pass(run: Run, pytester: pytest.Pytester) -> None:
    (code,) = re.findall(r"```python\n(.*?)```", (ROOT / "fixtures/README.md").read_text(), re.DOTALL)
    assert max(len(test.strip().splitlines()) for test in code.split("\n\n\n")) <= 10
    pytester.makepyfile(test_own=code)
    result = run("test_own.py", "--store", "runs.sqlite")
    assert result.ret == 0
    result.assert_outcomes(passed=3)
    _, found, _ = recorded(pytester.path / "runs.sqlite")
    assert found == {(1, 3): 4}


OWN = """
import pytest

def says(source):
    return source._link._instrument.handle(b"OUTP?").strip()  # the simulated source itself, past any link

def test_planned(ladder):
    assert [rung.setting.channel for rung in ladder[:1]] == [1]

def test_between(gain_run, source, device, adapter, readings):
    source.set_level(0.5)
    source.output_on()
    assert says(source) == b"1"
    assert device.identify().model == "HR-4"

def test_off(bench):
    assert says(bench.source) == b"0"

def test_decided(judgements):
    found = judgements("gain", channel=1, coarse="2V")
    assert len(found) == 2
    assert {one.outcome for one in found} == {"PASS"}

def test_unknown(readings):
    readings(channel=9)
"""


def test_other_hands_on_the_bench_spoil_nothing(run: Run, pytester: pytest.Pytester) -> None:
    pytester.makepyfile(test_own=OWN)
    result = run("test_acceptance.py", "test_own.py", "-k", "test_own or ch1-5V-gain")
    result.assert_outcomes(passed=5, failed=1, deselected=len(NAMES) - 1)
    result.stdout.fnmatch_lines(["*UsageError: the ladder has no range at all on channel 9; it has the channels 1, 2*"])


def test_a_bench_without_an_adapter_skips_what_needs_one(run: Run, pytester: pytest.Pytester) -> None:
    text = (CONFIGS / "benches/simulated.toml").read_text()
    head, _, rest = text.partition("[adapter]")
    bench = pytester.path / "bench.toml"
    bench.write_text((head + rest[rest.index("[wiring]") :]).replace('"../', f'"{CONFIGS}/'))
    pytester.makepyfile(test_own="def test_it(adapter):\n    pass\n")
    result = run("test_own.py", "--bench", str(bench))
    result.assert_outcomes(skipped=1)
    result.stdout.fnmatch_lines(["*the bench has no adapter*"])


def test_a_bench_that_cannot_be_reached_is_tried_once_and_is_an_error_of_every_claim(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: list[int] = []

    def closed(*places: object, **keys: object) -> None:
        tried.append(1)
        raise OpenFailed("source at TCPIP::127.0.0.1::1::SOCKET: nobody listens; is it switched on?")

    monkeypatch.setattr("harness.app.suite.live.open_bench", closed)
    result = run("-k", "ch1 and 5V")
    count = sum(name.startswith("ch1-5V-") for name in NAMES)
    assert result.ret == 1
    result.assert_outcomes(errors=count, deselected=len(NAMES) - count)
    result.stdout.fnmatch_lines(["OpenFailed: source at TCPIP::127.0.0.1::1::SOCKET: nobody listens; *"])
    assert len(tried) == 1
    assert "Traceback" not in result.stdout.str()


def test_an_address_where_nobody_listens_is_named(run: Run, pytester: pytest.Pytester) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    text = (CONFIGS / "benches/lan-and-serial.toml").read_text()
    address = f"TCPIP::127.0.0.1::{port}::SOCKET"
    bench = pytester.path / "bench.toml"
    bench.write_text(re.sub(r'address = "TCPIP[^"]*"', f'address = "{address}"', text).replace('"../', f'"{CONFIGS}/'))
    result = run("-k", "ch1-5V-gain", "--unit", "A1", "--bench", str(bench))
    assert result.ret == 1
    result.assert_outcomes(errors=1, deselected=len(NAMES) - 1)
    result.stdout.fnmatch_lines([f"OpenFailed: *{address}*"])


FORGED = """
import pytest

@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if "ch2-2V-gain" in item.nodeid and report.when == "call":
        report.outcome = "passed"
    return report
"""


def test_a_row_that_is_not_what_the_record_says_is_an_error_of_the_session(run: Run, pytester: pytest.Pytester) -> None:
    pytester.makeconftest(FORGED)
    result = run("-k", "ch2-2V-gain", "--fault", "relay-not-picking:2")
    assert result.ret == 1
    result.assert_outcomes(passed=1, errors=1, deselected=len(NAMES) - 1)
    result.stdout.fnmatch_lines(
        ["*MeasureError: rows that are not what the record says: ch2-2V-gain: shown as passed, the record says FAIL*"]
    )
