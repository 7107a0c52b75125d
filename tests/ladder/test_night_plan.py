"""The runs of a night in order, random blocks, and which rungs are anchors."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path

import pytest

from harness.app.setup import read_setup
from harness.config import Anchors, Corner, Night
from harness.config.night_section import AnchorSetting
from harness.errors import ConfigError
from harness.ladder import anchor_rungs, build, night_runs
from harness.ladder.build import shuffled
from harness.values import Direction, Rung

SETUP = read_setup(str(Path(__file__).resolve().parents[2] / "configs" / "jobs" / "ci.toml"))


def test_a_unit_walks_all_corners_before_the_next_and_a_corner_all_cycles() -> None:
    night = Night(corner=(Corner(name="cold"), Corner(name="hot")), cycles=2)
    runs = night_runs(night, ("A", "B"))
    assert [(r.unit, r.corner.name, r.cycle) for r in runs] == [
        ("A", "cold", 0), ("A", "cold", 1), ("A", "hot", 0), ("A", "hot", 1),
        ("B", "cold", 0), ("B", "cold", 1), ("B", "hot", 0), ("B", "hot", 1),
    ]  # fmt: skip
    assert [r.visit for r in runs] == [0, 0, 1, 1, 2, 2, 3, 3]
    assert len({r.key for r in runs}) == 8


def ladder(order: str, seed: int = 0, cycle: int = 0) -> tuple[Rung, ...]:
    job = SETUP.job.ladder.model_copy(update={"order": order, "order_seed": seed})
    least_vpk, most_vpk = SETUP.bench.source_range
    return build(
        SETUP.law, SETUP.device, SETUP.bench.file, job,
        source_min_vpk=least_vpk, source_max_vpk=most_vpk, file="job", cycle=cycle,
    )  # fmt: skip


def blocks(rungs: tuple[Rung, ...]) -> list[tuple[int, Direction, int]]:
    keyed = groupby(rungs, key=lambda r: (r.setting.channel, r.direction, r.setting.coarse))
    return [key for key, _ in keyed]


def test_random_blocks_visit_the_same_settings_range_by_range_in_another_order() -> None:
    plain, random = ladder("sorted"), ladder("random-blocks")
    assert sorted((r.setting, r.direction) for r in random) == sorted((r.setting, r.direction) for r in plain)
    assert [r.index for r in random] == list(range(len(random)))
    assert len(blocks(random)) == len(blocks(plain)), "a range is walked in one go"
    assert blocks(random) != blocks(plain)
    for (_, direction, _), group in groupby(random, key=lambda r: (r.setting.channel, r.direction, r.setting.coarse)):
        fine = [r.setting.fine for r in group]
        assert fine == sorted(fine, reverse=direction is Direction.DOWN)


def test_another_seed_or_cycle_is_another_order_and_the_same_one_is_the_same() -> None:
    orders = [tuple(blocks(ladder("random-blocks", *key))) for key in ((0, 0), (1, 0), (0, 1))]
    assert len(set(orders)) == 3
    assert tuple(blocks(ladder("random-blocks", 0, 0))) == orders[0]


def test_a_shuffle_favours_no_place() -> None:
    # 600 seeds over 3 values: each place 200 times each, standard deviation 11.5; five of them.
    first = [shuffled((0, 1, 2), str(seed))[0] for seed in range(600)]
    assert all(abs(first.count(value) - 200) < 58 for value in range(3))


def anchors(*places: tuple[int, str, int]) -> Anchors:
    settings = tuple(AnchorSetting(channel=c, coarse=name, fine=f) for c, name, f in places)
    return Anchors(setting=settings, every_rungs=5)


def test_an_anchor_is_a_rung_of_the_ladder() -> None:
    names = SETUP.law.coarse_names
    (rung,) = anchor_rungs(anchors((1, names[3], 10)), SETUP.rungs, names, file="job")
    assert (rung.setting.channel, rung.setting.coarse, rung.setting.fine) == (1, 3, 10)
    assert rung in SETUP.rungs


def test_an_anchor_that_the_ladder_does_not_visit_is_refused() -> None:
    names = SETUP.law.coarse_names
    with pytest.raises(ConfigError, match=r"anchors.setting\[1\]: got channel 1, 2V, fine 7; allowed: a setting that"):
        anchor_rungs(anchors((1, names[3], 10), (1, "2V", 7)), SETUP.rungs, names, file="job")


