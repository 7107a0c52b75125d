"""A job with gains at DC by the command: interrupted between the signs, resumed, judged, told."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from harness.store.recorder import RunRecorder
from harness.values import Purpose

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


@pytest.fixture
def job(tmp_path: Path) -> str:
    """Two settings of one channel, and steady levels at both, dithered whatever the noise."""
    text = (CONFIGS / "jobs" / "tarn-vg-1-validation.toml").read_text("utf-8").replace('"../', f'"{CONFIGS}/')
    head, _ = text.split("[ladder]")
    path = tmp_path / "dc.toml"
    ladder = '[ladder]\nchannels = [1]\nfine = [0]\ndirections = ["up"]\n'
    path.write_text(f'{head}{ladder}[extra]\ndc_fill = 0.75\ndither = "always"\n', "utf-8")
    return str(path)


def test_from_interrupt_to_budget(gainladder: Any, job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    honest = RunRecorder.record

    def stop_at_the_first_minus(self: RunRecorder, reading: Any) -> None:
        if reading.purpose is Purpose.DC_MINUS:
            raise KeyboardInterrupt
        honest(self, reading)

    monkeypatch.setattr(RunRecorder, "record", stop_at_the_first_minus)
    assert gainladder("sweep", job, "--unit", "A1").code == 130
    (run,) = gainladder("runs", "--json").json
    assert (run["readings"], run["planned"]) == (3, 6)
    monkeypatch.setattr(RunRecorder, "record", honest)
    ended = gainladder("resume", "last", "--as-recorded")
    assert ended.code == 0, ended.err
    told = json.loads(gainladder("report", "last", "--format", "json").out)
    claims = [claim for claim in told["judgements"] if claim["item"] == "dc-gain"]
    assert [claim["outcome"] for claim in claims] == ["PASS", "PASS"]
    groups = [table["group"] for table in told["budgets"]]
    assert "at DC, two dithered levels (low, high)" in groups
