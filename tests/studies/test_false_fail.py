"""The study of false alarms, a small one: what it counts, and that a few good units pass."""

from harness.app.setup import read_setup
from harness.values import Outcome
from tests.studies.false_fail import JOB, Tally, main, study, table


def test_good_units_do_not_fail_under_any_rule(capsys) -> None:
    tallies = study(read_setup(JOB), range(1, 4))
    assert list(tallies) == ["simple", "guarded", "guard-band", "managed"]
    for rule, tally in tallies.items():
        assert tally.units[Outcome.FAIL] == 0, (rule, tally.failed)
        assert tally.units[Outcome.INVALID] == 0
        assert sum(tally.units.values()) == 3
    assert "<= 63.16%" in table(tallies)  # 1 - 0.05^(1/3): no event in three trials


def test_a_failed_unit_is_counted_with_its_reason(monkeypatch, capsys) -> None:
    tally = Tally()
    tally.units[Outcome.FAIL] = 1
    tally.claims[Outcome.FAIL] = 1
    tally.failed[7] = ("ch1: gain off",)
    monkeypatch.setattr("tests.studies.false_fail.study", lambda setup, seeds: {"simple": tally})
    assert main(["--units", "1"]) == 0
    said = capsys.readouterr().out
    assert "unit 7: ch1: gain off" in said
    assert "100.00%" in said
