"""What each stage of `gainladder learn` says of a device or a bench that is not as it should be, and what to do."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.app_learn.test_learn_command import BENCH, few

Learn = Callable[..., Any]


@pytest.fixture
def learn(gainladder: Any, tmp_path: Path) -> Learn:
    """The command on a bench with some text changed, at three fine positions."""

    def run(*words: str, ranges_kept: tuple[str, ...] = ("5V", "2V"), **changed: str) -> Any:
        text = Path(BENCH).read_text()
        device = Path("configs/instruments/skerry-hr-4.toml").read_text()
        if "select_fine" in changed:
            command = f"select_fine = {changed.pop('select_fine')}"
            (tmp_path / "device-profile.toml").write_text(re.sub(r"select_fine = .*", command, device))
            text = text.replace("../instruments/skerry-hr-4.toml", f"{tmp_path}/device-profile.toml")
        for key, value in changed.items():
            text, count = re.subn(rf"^{key} = [^#\n]*", f"{key} = {value} ", text, count=1, flags=re.M)
            assert count == 1
        if "min_vpk" in changed:
            source = Path("configs/instruments/machair-sg-1.toml").read_text()
            (tmp_path / "source.toml").write_text(re.sub(r"min_vpk = \S+", f"min_vpk = {changed['min_vpk']}", source))
            text = text.replace("../instruments/machair-sg-1.toml", f"{tmp_path}/source.toml")
        (tmp_path / "bench.toml").write_text(text.replace("../", f"{Path('configs').resolve()}/"))
        (tmp_path / "settings.toml").write_text(few(ranges_kept=ranges_kept))
        fine = [word for index in (0, 10, 20) for word in ("--fine", str(index))]
        return gainladder(
            "learn", f"{tmp_path}/bench.toml", "--settings", f"{tmp_path}/settings.toml", "--yes", "--out",
            f"{tmp_path}/device.toml", "--store", f"sqlite:///{tmp_path}/runs.sqlite", *fine, *words,
        )  # fmt: skip

    return run


def test_a_device_that_ranges_by_itself(learn: Learn) -> None:
    ended = learn("--fault", "autorange-on")
    assert ended.code == 3
    assert "learn: listen: Skerry HR-4" in ended.err
    assert "set 5, reads back 10" in ended.err
    assert "allowed is a device that stays where it is told to: switch autoranging off" in ended.err


def test_a_dead_latch(learn: Learn) -> None:
    ended = learn("--fault", "latch-missing:1")
    assert ended.code == 3
    assert "TROUBLE    no edge on orange: a latch that never comes, a wire that nobody drives" in ended.err
    assert "fine position 40 % has the gain of 100 %" in ended.err
    assert "is its latch dead?" in ended.err


def test_a_device_that_clips_at_once(learn: Learn) -> None:
    """The source's least level is more than two ranges of the device bear, one of them by arithmetic."""
    ended = learn(min_vpk="0.05", ranges_kept=("20mV", "10mV"))
    assert ended.code == 3
    assert "no range can be measured: 20mV 100 %: clips even at the least level of the source" in ended.err
    assert "10mV 100 %: clips even at the least level" in ended.err
    assert "put a pad between, and say so in the bench file" in ended.err


def test_a_source_too_weak(learn: Learn) -> None:
    ended = learn(max_level_vpk="0.0006")
    assert ended.code == 3
    assert "no range can be measured: 5V 100 %: fills only" in ended.err
    assert "the source is too weak here" in ended.err


def test_a_device_that_ignores_a_command(learn: Learn) -> None:
    """Its profile has a command for the fine position that does something else."""
    ended = learn(select_fine='"CAL1:RANG:OFFS 20,{percent}"')
    assert ended.code == 3
    assert "learn: listen: Skerry HR-4" in ended.err
    assert "reads back 100" in ended.err
    assert "or mend the command and its question in the profile" in ended.err


def test_words_that_never_change(learn: Learn) -> None:
    ended = learn("--fault", "data-line-stuck", ranges_kept=("50mV", "20mV"))
    assert ended.code == 3
    assert "channel 1: no word follows it: its latch is dead, not probed, or" in ended.err
    assert "no range can be measured" in ended.err
