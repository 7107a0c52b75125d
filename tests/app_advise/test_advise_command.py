"""`gainladder advise` by a job's law and by a run's record."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from harness.app.bench_open import open_bench
from harness.app.run import RunRequest, new_header, record_run
from harness.app.setup import read_setup
from harness.store import open_store

ROOT = Path(__file__).resolve().parents[2]
JOB = "configs/jobs/ci.toml"
LADDER = """
[ladder]
channels = [2]
coarse = ["5V", "200mV"]
fine = [0, 10, 20]
directions = ["up"]
"""


@pytest.fixture
def store_path(tmp_path: Path) -> str:
    """A store with one short run."""
    job, path = tmp_path / "job.toml", str(tmp_path / "runs.sqlite")
    job.write_text((ROOT / JOB).read_text().split("[ladder]")[0].replace('"../', f'"{ROOT}/configs/') + LADDER)
    setup = read_setup(str(job))
    with (
        open_store(path) as store,
        open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened,
    ):
        header = new_header(setup, opened, RunRequest(unit="A1", operator="tests", faults=()))
        assert record_run(setup, opened, store, header) is None
    return path


def test_by_the_law(gainladder: Any) -> None:
    ended = gainladder("advise", JOB, "--amplitude", "0.0123")
    assert ended.code == 0, ended.err
    assert "by the law of Skerry HR-4" in ended.out
    best, coarse = (
        next(line for line in ended.out.splitlines() if line.startswith(head)) for head in ("best", "coarse")
    )
    # 24.6 mV peak to peak over 0.9: 27.3 mV, so 55 % of the 50 mV range would do; but from 61 % down the pre-gain and
    # its tolerance come in (64 % is code 255 without it), which costs more than the last tenth of a bit is worth.
    assert "ch1 50mV 64 %" in best
    assert "ch1 50mV 100 %" in coarse
    assert "the fine stage is worth +0.65 bits" in ended.out


def test_by_the_law_as_an_object(gainladder: Any) -> None:
    shown = gainladder("advise", JOB, "--amplitude", "0.0123", "--channel", "3", "--json").json
    assert shown["channel"] == 3
    assert (shown["best"]["label"], shown["coarse_only"]["label"]) == ("ch3 50mV 64 %", "ch3 50mV 100 %")
    assert shown["best"]["u_percent"] < shown["coarse_only"]["u_percent"]
    assert shown["best"]["fill_ratio"] <= 0.9


def test_by_a_record(gainladder: Any, store_path: str) -> None:
    shown = gainladder("advise", "last", "--amplitude", "0.03", "--store", store_path, "--json")
    assert shown.code == 0, shown.err
    content = shown.json
    assert content["channel"] == 2  # the only one in the run
    # 60 mV peak to peak over 0.9: 67 mV, below 80 mV, the least full scale that the run has seen
    assert content["best"]["label"] == "ch2 200mV 40 %"
    assert content["coarse_only"]["label"] == "ch2 200mV 100 %"
    assert "the record of unit A1" in content["basis"]
    assert content["best"]["gain_percent"] > 0.0
    assert "best" in gainladder("advise", "last", "--amplitude", "0.03", "--store", store_path).out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((JOB, "--amplitude", "40"), "above the input limit of 30 V peak"),
        ((JOB, "--amplitude", "20"), "above every full scale"),
        ((JOB, "--amplitude", "1e-7"), "code at the most sensitive setting, ch1 20mV 40 %"),
        ((JOB, "--amplitude", "1", "--channel", "9"), "channel is 9"),
        (("configs/jobs/none.toml", "--amplitude", "1"), "No such file"),
        ((JOB,), "Missing option '--amplitude'"),
    ],
)
def test_what_cannot_be_advised(gainladder: Any, words: tuple[str, ...], said: str) -> None:
    ended = gainladder("advise", *words)
    assert ended.code == 2
    assert said in ended.err


def test_a_channel_that_the_run_did_not_measure(gainladder: Any, store_path: str) -> None:
    ended = gainladder("advise", "last", "--amplitude", "0.03", "--channel", "1", "--store", store_path)
    assert ended.code == 2
    assert "the run measured no setting of channel 1" in ended.err


def test_without_a_coarse_position_the_text_says_so(capsys: Any) -> None:
    from harness.app.advise_text import advice_text
    from harness.judge.advice import Option, advise
    from harness.values import Setting

    made = Option(
        setting=Setting(1, 0, 3), label="ch1 x", gain_codes_per_v=1000.0, arithmetic_ratio=1.0, u_gain_percent=0.1
    )
    advice = advise([made], 0.5, span_codes=4096, samples=4000, fill_high_ratio=0.9, limit_vpk=30.0)
    advice_text(advice, basis="a test", channel=1, note="a note")
    said = capsys.readouterr().out
    assert "coarse only  no range at its first fine position is known to take the signal" in said
    assert "note: a note" in said
