"""What was announced as recorded is in the file, whatever kills the process."""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from harness.store import open_store

CHILD = Path(__file__).parent / "writing_child.py"
ROOT = Path(__file__).parents[2]


def count(path, run_id):
    """By the bare driver, which knows nothing of us."""
    connection = sqlite3.connect(path)
    query = "SELECT reading FROM readings JOIN runs ON runs.number = readings.run WHERE run_id = ? ORDER BY reading"
    rows = connection.execute(query, (run_id,)).fetchall()
    connection.close()
    return [row[0] for row in rows]


def test_each_reading_is_there_for_another_process_at_once(path, clock, make_header, make_reading):
    with open_store(str(path)) as store:
        recorder = store.begin(make_header("r"), clock)
        for index in range(5):
            recorder.record(make_reading(index))
            assert count(path, "r") == list(range(index + 1))


def test_the_writer_syncs_fully(path):
    with open_store(str(path)) as store:
        asked = {
            name: store._writer._connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    assert asked == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


KILLS = 5
"""The crash campaign of tests/crash does hundreds, of the whole program."""


def test_kills_lose_nothing(path):
    dice = random.Random(5)
    for kill in range(KILLS):
        announced = dice.randrange(1, 60)
        child = subprocess.Popen(
            [sys.executable, str(CHILD), str(path), f"run-{kill}"], cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        with child:
            lines = [child.stdout.readline() for _ in range(announced)]
            child.send_signal(signal.SIGKILL)
            lines += child.stdout.readlines()
        assert child.returncode == -signal.SIGKILL
        last = max(int(line) for line in lines if line.endswith("\n"))
        found = count(path, f"run-{kill}")
        assert found == list(range(len(found)))
        assert len(found) - 1 - last in (0, 1), "at most one reading is committed and not yet announced"
    with open_store(str(path)) as store:
        assert store.check().faults == ()
        infos = store.runs()
        assert [info.header.run_id for info in infos] == [f"run-{kill}" for kill in reversed(range(KILLS))]
        assert all(info.end == "" and len(list(store.readings(info.header.run_id))) == info.readings for info in infos)


class Interrupting:
    """A driver's connection; Ctrl-C comes before or after its n-th statement."""

    def __init__(self, driver, number, *, after):
        self.driver, self.number, self.after = driver, number, after

    def __getattr__(self, name):
        return getattr(self.driver, name)

    def execute(self, *arguments):
        self.number -= 1
        if self.number == 0 and not self.after:
            raise KeyboardInterrupt
        result = self.driver.execute(*arguments)
        if self.number == 0:
            raise KeyboardInterrupt
        return result


STATEMENTS = 4
"""Begin, the chain's head, the row, commit."""


@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize("number", range(1, STATEMENTS + 1))
def test_an_interrupt_in_a_commit_leaves_a_recorder_that_works(path, clock, make_header, make_reading, number, after):
    with open_store(str(path)) as store:
        recorder = store.begin(make_header("r"), clock)
        recorder.record(make_reading(0, samples=4))
        driver = store._writer._driver
        store._writer._driver = Interrupting(driver, number, after=after)
        with pytest.raises(KeyboardInterrupt):
            recorder.record(make_reading(1, samples=4))
        store._writer._driver = driver
        committed = number == STATEMENTS and after
        assert count(path, "r") == ([0, 1] if committed else [0])
        recorder.record(make_reading(2, samples=4))
        recorder.finish("interrupted")
        assert store.info("r").end == "interrupted"
        assert store.check().faults == ()
    assert count(path, "r") == ([0, 1, 2] if committed else [0, 2])


def test_two_stores_record_in_turn(path, clock, make_header, make_reading):
    with open_store(str(path)) as one, open_store(str(path)) as two:
        first, second = one.begin(make_header("a"), clock), two.begin(make_header("b"), clock)
        for index in range(10):
            first.record(make_reading(index, samples=4))
            second.record(make_reading(index, samples=4))
        assert [info.readings for info in one.runs()] == [10, 10]
    assert not path.with_name(path.name + "-wal").exists(), "closing puts everything into the one file"
