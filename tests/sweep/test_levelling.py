import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.sweep.levelling import MOST_TRIES, Levels, next_level, seen
from harness.values import Quality


def quality(fill: float) -> Quality:
    clipped = fill >= 1.0
    return Quality(
        fill_ratio=min(fill, 1.0), railed=9 if clipped else 0, code_spacing=1, clipped=clipped,
        underfilled=fill < 0.5, reason="",
    )  # fmt: skip


def hunt(
    level_vpk: float, fill_per_v: float, least_vpk: float = 0.0005, most_vpk: float = 10.0
) -> tuple[float | None, int]:
    """Re-level as the sweep does, against a device of known gain; the level that fits and the tries it took."""
    levels = Levels()
    for tries in range(1, MOST_TRIES + 1):
        now = quality(level_vpk * fill_per_v)
        if not (now.clipped or now.underfilled):
            return level_vpk, tries
        levels = seen(levels, level_vpk, now)
        wanted = next_level(level_vpk, now, levels, fill_target=0.75, least_vpk=least_vpk, most_vpk=most_vpk)
        if wanted is None:
            return None, tries
        level_vpk = wanted
    return None, MOST_TRIES


@given(st.floats(0.01, 9.9), st.floats(-2.1, 2.1))
def test_a_gain_wrong_by_up_to_a_hundred_times_either_way_is_found(level_vpk: float, decades: float) -> None:
    wrong = 10.0**decades
    fitting_vpk = level_vpk / wrong
    found, _ = hunt(level_vpk, 0.75 / fitting_vpk)
    if 0.0005 / 0.7 <= fitting_vpk <= 10.0 * 0.7:
        assert found is not None
        assert 0.5 <= found * 0.75 / fitting_vpk < 1.0


def test_up_never_more_than_four_times_at_once() -> None:
    wanted = next_level(
        1.0, quality(0.001), seen(Levels(), 1.0, quality(0.001)), fill_target=0.75, least_vpk=0.001, most_vpk=10.0
    )
    assert wanted == 4.0


@pytest.mark.parametrize(("fill_per_v", "start_vpk"), [(1e-6, 1.0), (1e6, 1.0)])
def test_no_level_left_is_said(fill_per_v: float, start_vpk: float) -> None:
    assert hunt(start_vpk, fill_per_v)[0] is None


def test_limits_are_never_passed() -> None:
    wanted = next_level(
        8.0, quality(0.1), seen(Levels(), 8.0, quality(0.1)), fill_target=0.75, least_vpk=0.001, most_vpk=10.0
    )
    assert wanted == 10.0
