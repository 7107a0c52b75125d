"""Runs judged anew: by several at once as by one, in order; what cannot be judged is counted; `tests.cluster` kills."""

from __future__ import annotations

import dataclasses
import functools
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from harness.app.rejudging import JudgeAnew, judge_anew
from harness.errors import StoreError
from harness.lot import Asked, Head, StoredLot, analyse
from harness.lot.rejudged import WINDOW, Here, RejudgedLot, cluster
from harness.store import open_store
from harness.values import Outcome, RunSummary
from tests.cluster.runs import job_in, record

SHORT = RunSummary(
    run_id="r", at_utc="", software="", limits_sha256="", verdict=Outcome.PASS, complete=True, seconds=None, tested=1,
    failing=0, items=(), diagnoses=(), invalid=(), charted=(),
)  # fmt: skip


class Drawn:
    """A lot of so many runs without summaries."""

    def __init__(self, count):
        self._heads = [
            Head(f"r{number:03d}", f"U{number}", f"2026-{number:03d}", False, "finished", "j", "d")
            for number in range(count)
        ]

    def heads(self):
        return self._heads

    def summaries(self, heads):
        raise AssertionError("kept summaries are not asked for")


def judge(run_id, *, bad=""):
    if run_id == bad:
        raise StoreError(f"{run_id} is damaged")
    verdict = Outcome.FAIL if run_id.endswith("7") else Outcome.PASS
    return dataclasses.replace(SHORT, run_id=run_id, verdict=verdict)


def analysed(count, work, workers, *, many=1):
    lot = RejudgedLot(Drawn(count), work, workers, count=many)
    return lot, analyse(lot, Asked(), summarise=lot.failed)


def test_several_say_what_one_says_and_in_order():
    lot, serial = analysed(100, judge, Here())
    assert (lot.done, serial.result.first_pass.events, serial.judged_now) == (100, 90, 0)
    with ThreadPoolExecutor(3) as pool:
        other, spread = analysed(100, judge, pool, many=3)
        assert spread == serial
        heads = other.heads()
        assert [short.run_id for _, short in other.summaries(heads)] == [head.run_id for head in heads]


def test_what_cannot_be_judged_is_counted():
    _, found = analysed(20, functools.partial(judge, bad="r005"), Here())
    assert found.left_out == (("cannot be judged", 1),)
    assert found.result.units == 19


def test_only_a_window_is_under_way():
    asked = []

    class Slow(Here):
        def submit(self, work, run_id):
            asked.append(run_id)
            return super().submit(work, run_id)

    lot = RejudgedLot(Drawn(100), judge, Slow(), count=2)
    next(lot.summaries(lot.heads()))
    assert len(asked) == 2 * WINDOW


class KilledWorker(Exception):
    """Of the name that a cluster gives it."""


@pytest.mark.parametrize(("error", "counted"), [(KilledWorker("died four times"), True), (RuntimeError("bug"), False)])
def test_a_run_that_kills_its_workers_is_given_up_and_a_mistake_of_ours_is_not_hidden(error, counted):
    def deadly(run_id):
        raise error

    with ThreadPoolExecutor(1) as pool:
        lot = RejudgedLot(Drawn(1), deadly, pool, count=1)
        if counted:
            assert list(lot.summaries(lot.heads())) == [(lot.heads()[0], None)]
            with pytest.raises(StoreError, match="run r000: died four times"):
                lot.failed("r000")
        else:
            with pytest.raises(RuntimeError, match="bug"):
                list(lot.summaries(lot.heads()))


def test_records_are_judged_anew_over_the_command_line(gainladder, tmp_path):
    job = job_in(tmp_path)
    path = str(tmp_path / "lot.sqlite")
    with open_store(path) as store:
        record(store, job, 5)
        judged = judge_anew(path, "")
        assert judged == JudgeAnew(store_url=path)
        heads = StoredLot(store).heads()
        assert [str(judged(head.run_id).verdict) for head in heads] == ["PASS", "PASS", "PASS", "FAIL", "FAIL"]
    ended = gainladder("lot", "--store", path, "--rejudge", "--json")
    assert (ended.code, ended.json["first_pass"]["events"]) == (0, 3)
    assert "5 runs judged anew by 1 worker" in ended.err
    strict = tmp_path / "strict.toml"
    text = (Path(__file__).parents[2] / "configs/limits/skerry-hr-4.toml").read_text()
    strict.write_text(text.replace("low = -2.0\nhigh = 2.0\nguard = 0.44", "low = -0.0001\nhigh = 0.0001", 1))
    ended = gainladder("lot", "--store", path, "--rejudge", "--limits", str(strict), "--json")
    assert ended.json["first_pass"]["events"] == 0
    refused = gainladder("lot", "--store", path, "--rejudge", "--keep")
    assert (refused.code, "read raw records of a store" in refused.err) == (2, True)


def test_a_place_on_a_server_stays_as_it_is():
    assert judge_anew("postgresql://u@h/d", "").store_url == "postgresql://u@h/d"
    assert Path(judge_anew("a.sqlite", "b.toml").limits_path).is_absolute()


def test_without_dask_it_says_what_to_install(monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(StoreError, match=r"needs Dask, which is not installed: pip install 'gainladder\[cluster\]'"), \
            cluster("2"):  # fmt: skip
        pass


class Library:
    """Stands for the cluster's library: remembers what was opened, and closes nothing that was not."""

    def __init__(self, workers, refuses=False):
        self.workers, self.refuses, self.opened = workers, refuses, []

    def LocalCluster(self, **words):  # noqa: N802 - its name there
        self.opened.append(words["n_workers"])
        return _Opened(self)

    def Client(self, address, timeout=""):  # noqa: N802
        if self.refuses:
            raise OSError("timed out")
        self.opened.append(address)
        return _Opened(self)


class _Opened:
    def __init__(self, library):
        self._library = library

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._library.opened.append("closed")

    def scheduler_info(self):
        return {"workers": dict.fromkeys(range(self._library.workers))}

    def submit(self, work, *arguments, pure):
        assert not pure
        return Here().submit(work, *arguments)


@pytest.fixture
def library(monkeypatch):
    def put(*words, **more):
        made = Library(*words, **more)
        monkeypatch.setitem(sys.modules, "distributed", made)
        monkeypatch.setattr("importlib.util.find_spec", lambda name: object())
        return made

    return put


@pytest.mark.parametrize(("address", "first"), [("3", 3), ("tcp://h:8786", "tcp://h:8786")])
def test_workers_of_this_computer_or_of_a_cluster(library, address, first):
    made = library(2)
    with cluster(address) as (workers, count):
        assert (made.opened[0], count) == (first, 2)
        assert workers.submit(judge, "r1").result().run_id == "r1"
    assert made.opened[-1] == "closed"


def test_a_cluster_that_is_not_there_or_has_nobody(library):
    library(0, refuses=True)
    away = r"--cluster tcp://h:1: cannot be reached \(timed out\): allowed is tcp://host"
    with pytest.raises(StoreError, match=away), cluster("tcp://h:1"):
        pass
    made = library(0)
    nobody = "has no worker: start some with `dask worker tcp://h:1`"
    with pytest.raises(StoreError, match=nobody), cluster("tcp://h:1"):
        pass
    assert made.opened == ["tcp://h:1", "closed"]
