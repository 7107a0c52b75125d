"""The budget of a run's gains against closed forms, drawing, and the properties that a budget must have."""

import math
import time
from itertools import pairwise

import numpy as np
import pytest

from harness.config import BenchFile, BenchUncertainty, DeviceFile, DeviceUncertainty, parse
from harness.config.bench_file import Wiring
from harness.errors import NotFinite
from harness.judge.gain_budget import NO_BUDGET, Reduced, Statement, budget_tables, gain_budget
from harness.judge.uncertainty import draw_sum, student_factor
from harness.values import Setting

ROOT3 = math.sqrt(3.0)


def statement(*, source=None, device=None, pad=None, loading=None, temperature_k=0.0, pad_db=0.0, span_code=4096.0):
    bench = BenchUncertainty.model_validate(
        {
            "source": {"reading": {"percent": 0.3}, **(source or {})},
            "temperature_k": temperature_k,
            **({"pad": pad} if pad else {}),
            **({"loading": loading} if loading else {}),
        }
    )
    return Statement(
        bench=bench,
        device=DeviceUncertainty.model_validate(device or {}),
        wiring=Wiring(source_ohm=50.0, load_ohm=950.0, told_ohm="high-z", pad_db=pad_db),
        span_code=span_code,
        device_states=device is not None,
    )


def item(place, **changes):
    known = {
        "setting": Setting(1, place // 10, place % 10), "group": "attenuator 1:1", "range_name": f"r{place // 10}",
        "level_vpk": 1.0,
        "metered": False, "amplitude_code": 1500.0, "residual_code": 0.8, "samples": 4000, "readings": 2,
        "up_down_percent": None,
    }  # fmt: skip
    return Reduced(**{**known, **changes})


def noise_percent(*, amplitude=1500.0, residual=0.8, samples=4000, readings=2):
    """Kay's bound: the residual holds the noise and the quantisation already."""
    return 100.0 * residual * math.sqrt(2.0 / (samples * readings)) / amplitude


def test_every_stated_number_counts_once():
    stated = statement(
        source={
            "range": {"percent": 0.2, "of": "full-scale"}, "range_ends_vpk": [0.5, 5.0], "absolute_v": 0.001,
            "digits": 3,
            "flatness": {"percent": 0.1, "distribution": "normal", "factor": 2.5},
        },
        device={
            "inl_lsb": 0.5, "compression_percent": 0.04, "temperature_ppm_per_k": -50.0,
            "repeatability": {"percent": 0.03, "distribution": "normal", "factor": 1.0},
        },
        pad={"db": 0.02}, loading={"load_percent": 2.0}, temperature_k=2.0,
    )  # fmt: skip
    budget = gain_budget(stated, [item(0, level_vpk=1.25)])
    common = {
        "source, reading": 0.3 / ROOT3,
        "source, flatness": 0.04,
        "pad": 100.0 * math.log(10.0 ** (0.02 / 20.0)) / 2.0,
        "loading": 50.0 / 1000.0 * 2.0 / ROOT3,
        "temperature": 0.01 / ROOT3,
    }
    own = {
        "source, range": 0.2 * 5.0 / 1.25 / ROOT3,
        "source, absolute": 100.0 * 0.001 / 1.25 / ROOT3,
        "source, last digit": 100.0 * 0.005 / 1.25 / ROOT3,
        "fit noise": noise_percent(),
        "non-linearity": 100.0 * 0.5 / 3000.0 / ROOT3,
        "compression": 0.04 * (3000.0 / 4096.0) ** 2 / ROOT3,
        "repeatability": 0.03,
    }
    rows = {row.name.removeprefix("converter "): row.standard_percent for row in budget_tables(budget)[0].rows}
    # At 0.75 code of noise the first term of the rounding series is below 1e-8 % of 1500 codes.
    assert rows.pop("rounding") < 1e-8
    assert rows == pytest.approx({**common, **own}, rel=1e-6)
    place = item(0).setting
    total = math.sqrt(sum(value**2 for value in (*common.values(), *own.values())))
    assert budget.gain_expanded_percent(place) == pytest.approx(2.0 * total, rel=1e-6)
    alone = math.sqrt(sum(value**2 for value in own.values()))
    assert budget.own_standard_percent(place) == pytest.approx(alone, rel=1e-6)
    assert budget.own_expanded_percent(place) == pytest.approx(2.0 * alone, rel=1e-6)


def test_a_step_keeps_only_what_its_settings_do_not_share():
    stated = statement(
        source={"range": {"percent": 0.2}, "range_ends_vpk": [0.5]}, device={"compression_percent": 0.04}
    )
    items = [item(0, level_vpk=0.1), item(1, level_vpk=0.5), item(2, level_vpk=0.500001)]
    pairs = [(items[0].setting, items[1].setting), (items[1].setting, items[2].setting)]
    budget = gain_budget(stated, items, pairs=pairs[:1])
    both = math.sqrt(2.0) * noise_percent()
    # One range, one fill: range part and compression cancel. Over the end of a range its part counts twice.
    # The noise of the fit has 7994 degrees of freedom: Student's factor is 2.0002.
    assert budget.step_expanded_percent(*pairs[0]) == pytest.approx(2.0 * both, rel=1e-3)
    assert budget.step_expanded_percent(*pairs[1]) == pytest.approx(
        2.0 * math.hypot(both, math.sqrt(2.0) * 0.2 / ROOT3), rel=1e-6
    )
    assert budget.step_expanded_percent(items[0].setting, Setting(9, 9, 9)) is None


def test_few_degrees_of_freedom_widen_the_interval():
    budget = gain_budget(statement(source={"reading": {"percent": 0.4, "distribution": "normal", "dof": 4}}), [item(0)])
    (table,) = budget_tables(budget)
    expected = float(student_factor(table.dof, probability_ratio=math.erf(math.sqrt(2.0))))
    assert table.dof == pytest.approx(4.0, rel=1e-3)
    assert table.factor == pytest.approx(expected)
    assert table.factor > 2.8
    assert budget.gain_expanded_percent(item(0).setting) == pytest.approx(table.factor * table.standard_percent)


def test_scatter_of_the_run_counts_where_it_is_more_than_stated():
    device = {"repeatability": {"percent": 0.01, "distribution": "normal", "factor": 1.0}}
    differences = np.random.default_rng(5).normal(0.0, 0.1 * math.sqrt(2.0), 400)
    items = [item(k, setting=Setting(1, k // 20, k % 20), up_down_percent=d) for k, d in enumerate(differences)]
    row = {row.name: row for row in budget_tables(gain_budget(statement(device=device), items))[0].rows}[
        "repeatability"
    ]
    # Readings scatter by 0.1 %, the mean of two by 0.1/√2; 400 pairs know that to 1/√800.
    assert row.standard_percent == pytest.approx(0.1 / math.sqrt(2.0), rel=0.1)
    assert row.dof == 400.0
    quiet = [item(k, up_down_percent=0.001) for k in range(4)]
    budget = gain_budget(statement(device=device), quiet)
    row = {row.name: row for row in budget_tables(budget)[0].rows}["repeatability"]
    assert (row.standard_percent, row.dof) == (0.01, None)
    assert budget.notes == ("repeatability as stated, 0.01 %",)


def test_a_setting_whose_ways_differ_is_not_excused_by_its_own_scatter():
    items = [item(k, up_down_percent=0.01 * (-1) ** k) for k in range(20)]
    strange = items[7] = item(7, up_down_percent=1.0)
    plain = gain_budget(statement(), [one for one in items if one is not strange])
    budget = gain_budget(statement(), items)
    other = items[0].setting
    assert budget.own_expanded_percent(other) == pytest.approx(plain.own_expanded_percent(other), rel=1e-9)
    assert budget.own_expanded_percent(strange.setting) == budget.own_expanded_percent(other)


def test_a_channel_that_scatters_leaves_the_others_alone():
    device = {"repeatability": {"percent": 0.02, "distribution": "normal", "factor": 1.0}}
    rng = np.random.default_rng(8)

    def channel(number: int, sd: float) -> list:
        return [
            item(k, setting=Setting(number, k // 5, k % 5), up_down_percent=float(d))
            for k, d in enumerate(rng.normal(0.0, sd, 40))
        ]

    quiet, wild = channel(1, 0.01), channel(2, 1.0)
    alone, both = gain_budget(statement(device=device), quiet), gain_budget(statement(device=device), quiet + wild)
    assert all(both.own_expanded_percent(q.setting) == alone.own_expanded_percent(q.setting) for q in quiet)
    # sd 1 % of a difference of two is 0.71 % of one.
    assert both.own_standard_percent(wild[0].setting) == pytest.approx(1.0 / math.sqrt(2.0) / math.sqrt(2.0), rel=0.25)
    assert both.notes[0] == "repeatability of a reading pooled over settings read both ways: channel 2 over 40"


def test_a_channel_without_both_ways_and_without_a_statement_takes_what_the_others_show():
    items = [item(k, up_down_percent=0.1 * (-1) ** k) for k in range(8)]
    lone = item(0, setting=Setting(2, 0, 0))
    budget = gain_budget(statement(), [*items, lone])
    assert budget.own_expanded_percent(lone.setting) == pytest.approx(
        budget.own_expanded_percent(items[0].setting), rel=1e-9
    )


def test_a_difference_that_is_no_number_is_met():
    with pytest.raises(NotFinite, match="up_down_percent is nan"):
        gain_budget(statement(), [item(0, up_down_percent=math.nan), item(1, up_down_percent=0.01)])


def test_what_is_not_stated_is_said():
    assert gain_budget(statement(), [item(0)]).notes == (
        "no repeatability: none is stated and no setting was read both ways",
        "the device file states nothing of its own: no [uncertainty] there",
    )


def test_without_a_statement_nothing_is_made_up():
    for budget in (NO_BUDGET, gain_budget(None, [item(0)]), gain_budget(statement(), [])):
        assert budget.gain_expanded_percent(item(0).setting) is None
        assert budget.own_expanded_percent(item(0).setting) is None
        assert budget.own_standard_percent(item(0).setting) is None
        assert budget.step_expanded_percent(item(0).setting, item(1).setting) is None
        assert budget_tables(budget) == ()
    bench = (BenchFile, "benches/simulated.toml")
    device = (DeviceFile, "devices/skerry-hr-4.toml")
    read = [parse(kind, open_text(name), file=name) for kind, name in (bench, device)]
    assert Statement.of(*read) is not None
    assert Statement.of(read[0].model_copy(update={"uncertainty": None}), read[1]) is None
    bare = Statement.of(read[0], read[1].model_copy(update={"uncertainty": None}))
    assert (bare.device_states, bare.span_code) == (False, 4096.0)


def open_text(name):
    from pathlib import Path

    return (Path(__file__).parents[2] / "configs" / name).read_text()


def test_quiet_records_carry_the_exact_bias_of_rounding():
    # 0.29 code of residual is rounding alone: nothing averages the bias out, however long the record.
    budget = gain_budget(statement(), [item(0, amplitude_code=20.0, residual_code=0.2887, samples=1_000_000)])
    rows = {row.name: row.standard_percent for row in budget_tables(budget)[0].rows}
    # Independent of the series: the fundamental of rounded sines, by summation over one period.
    angle = 2.0 * math.pi * (np.arange(40_000) + 0.5) / 40_000
    sine = np.sin(angle)
    amplitudes = np.linspace(19.5, 20.5, 201)
    bias = [abs(2.0 * float(np.mean(np.round(a * sine) * sine)) / a - 1.0) for a in amplitudes]
    assert rows["rounding"] == pytest.approx(100.0 * max(bias) / ROOT3, rel=0.08)
    assert rows["rounding"] > 10.0 * rows["fit noise"]


def test_one_table_for_each_group_that_of_its_worst_setting():
    items = [item(0), item(10, amplitude_code=300.0), item(20, group="attenuator 1:10")]
    tables = budget_tables(gain_budget(statement(device={"inl_lsb": 0.5}), items))
    assert [table.group for table in tables] == ["attenuator 1:1 (r0, r1)", "attenuator 1:10 (r2)"]
    for table, amplitude in zip(tables, (300.0, 1500.0), strict=True):
        rows = {row.name: row for row in table.rows}
        assert rows["converter non-linearity"].standard_percent == pytest.approx(100.0 * 0.25 / amplitude / ROOT3)
        assert sum(row.share_percent for row in table.rows) == pytest.approx(100.0)
        assert math.hypot(table.common_percent, table.own_percent) == pytest.approx(table.standard_percent)


def test_the_interval_holds_what_its_own_contributions_draw():
    stated = statement(
        source={"range": {"percent": 0.2}, "range_ends_vpk": [5.0]},
        device={"inl_lsb": 0.5, "repeatability": {"percent": 0.1, "distribution": "normal", "factor": 1.0}},
    )
    budget = gain_budget(stated, [item(0)])
    drawn = draw_sum(budget.ladder.at(0).contributions, np.random.default_rng(3), draws=100_000)
    held = np.mean(np.abs(drawn) <= budget.gain_expanded_percent(item(0).setting))
    # Rectangles have no tails, so a little more than 95.45 %.
    assert 0.953 <= held <= 0.985


def test_ten_thousand_settings_in_well_under_a_second():
    rng = np.random.default_rng(8)
    stated = statement(
        source={"range": {"percent": 0.2}, "range_ends_vpk": [0.01, 0.1, 1.0]},
        device={"inl_lsb": 0.5, "compression_percent": 0.02},
    )
    items = [
        item(
            0,
            setting=Setting(1, k // 100, k % 100),
            level_vpk=10.0 ** rng.uniform(-3.0, 1.0),
            amplitude_code=rng.uniform(200.0, 1800.0),
            residual_code=rng.uniform(0.45, 3.0),
            up_down_percent=rng.normal(0.0, 0.02),
        )
        for k in range(10_000)
    ]
    pairs = [(low.setting, high.setting) for low, high in pairwise(items)]
    started = time.perf_counter()
    budget = gain_budget(stated, items, pairs=pairs)
    total = sum(budget.gain_expanded_percent(one.setting) + budget.own_expanded_percent(one.setting) for one in items)
    total += sum(budget.step_expanded_percent(*pair) for pair in pairs)
    assert total > 0.0
    # 0.1 s alone on one core; three times that for a busy machine.
    assert time.perf_counter() - started < 1.0
