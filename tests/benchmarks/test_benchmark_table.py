"""The table of benchmarks: which figures have goals, and what a miss does; nothing is timed here."""

import importlib

import pytest

table = importlib.import_module("tests.benchmarks.__main__")


def test_a_goal_is_met_at_its_border_and_missed_beyond():
    assert table.met("startup", 2.0) is True
    assert table.met("startup", 2.01) is False
    assert table.met("commit_ratio", 0.74) is False
    assert table.met("help_ms", 1e9) is None


def test_a_missed_goal_is_marked_and_ends_with_one(monkeypatch, capsys):
    class Module:
        @staticmethod
        def measure():
            return {"startup": 3.0, "help_ms": 5.0}

    monkeypatch.setattr(table.importlib, "import_module", lambda name: Module)
    assert table.main(["startup"]) == 1
    assert "MISSED" in capsys.readouterr().out
    assert table.main(["startup", "--json"]) == 1
    assert '"startup": 3.0' in capsys.readouterr().out


def test_an_unknown_benchmark_is_answered_with_those_there_are(capsys):
    with pytest.raises(SystemExit):
        table.main(["startups"])
    said = capsys.readouterr().err
    assert "got startups; allowed: " in said
    assert all(f" {name}" in said for name in ("overhead", "short_ladder", "simulated", "startup"))
    assert "test_" not in said


def test_the_machine_and_its_load_stand_with_the_figures():
    found = table.machine()
    assert found["cores"].isdigit()
    assert float(found["load"]) >= 0.0
    assert found["processor"]
