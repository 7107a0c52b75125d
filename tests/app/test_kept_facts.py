"""Numbers of long runs are kept from one command to the next: the same result, and never a wrong or foreign one."""

from __future__ import annotations

import dataclasses
import gc
import hashlib
import io
import os
import pickle
import sys
import zlib
from pathlib import Path

import pytest

from harness.app import kept_facts
from harness.app.bench_open import open_bench
from harness.app.collector import collector_paused
from harness.app.run import RunRequest, judge_of, judged, new_header, record_run
from harness.app.setup import read_setup
from harness.app.suite import StoredRun
from harness.errors import UsageError
from harness.judge import RunJudge
from harness.store import open_store

CONFIGS = Path(__file__).parents[2] / "configs"
SETUP = read_setup(str(CONFIGS / "jobs" / "corrie-ur-2-short.toml"), unit="A1")
LIMITS = str(CONFIGS / "limits" / "corrie-ur-2.toml")


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory):
    """A store with one run of 18 settings, and its result as measured."""
    file = tmp_path_factory.mktemp("kept") / "s.sqlite"
    with (
        open_store(str(file)) as store,
        open_bench(SETUP.bench, SETUP.device, transport="in-process", seed=3, faults=()) as opened,
    ):
        header = new_header(SETUP, opened, RunRequest(unit="A1", operator="", faults=()))
        assert record_run(SETUP, opened, store, header) is None
        yield store, header.run_id, judged(store, header.run_id)[1]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of the test's own, in which short runs are kept too."""
    monkeypatch.setenv("LOCALAPPDATA" if sys.platform == "win32" else "XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(kept_facts, "LEAST_SETTINGS", 1)
    return tmp_path / "gainladder"


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Readings that were measured."""
    seen: list[int] = []
    real = RunJudge.add

    def add(judge, reading):
        seen.append(reading.index)
        return real(judge, reading)

    monkeypatch.setattr(RunJudge, "add", add)
    return seen


def test_a_run_is_measured_once_and_comes_out_the_same(recorded, folder, measured) -> None:
    store, run_id, expected = recorded
    assert judged(store, run_id)[1] == expected
    count = len(measured)
    assert count >= 18
    (file,) = folder.iterdir()
    assert judged(store, run_id)[1] == expected
    assert (len(measured), list(folder.iterdir())) == (count, [file])
    assert judged(store, run_id, anew=True)[1] == expected
    assert len(measured) == 2 * count


def test_the_acceptance_suite_decides_by_what_is_kept_and_reads_again_for_a_part(recorded, folder, measured) -> None:
    store, run_id, expected = recorded
    first = StoredRun(store, run_id, setup=SETUP)
    assert first.ended({}, ()).result == expected
    count = len(measured)
    assert count >= 18
    assert len(list(folder.iterdir())) == 1
    again = StoredRun(store, run_id, setup=SETUP)
    assert again.ended({}, ()).result == expected
    assert again.swept == first.swept == again.ladder
    assert again.part(again.ladder[:1]).result == expected
    assert len(measured) == count
    assert again.causes(None) == expected.candidates
    assert again.causes(again.ladder[0][0]) == first.causes(again.ladder[0][0])
    # A live session's check of its rows is of the record alone.
    assert StoredRun(store, run_id).ended({}, ()).result == expected
    assert len(measured) >= 2 * count


def test_other_limits_decide_about_the_same_numbers(recorded, folder, measured, tmp_path) -> None:
    store, run_id, expected = recorded
    text = Path(LIMITS).read_text("utf-8")
    tight = tmp_path / "tight.toml"
    tight.write_text(text.replace('item = "gain"\nlow = -', 'item = "gain"\nlow = 1.0 # -', 1), "utf-8")
    assert tight.read_text("utf-8") != text
    judged(store, run_id)
    count = len(measured)
    header, result = judged(store, run_id, limits_path=str(tight))
    assert len(measured) == count
    assert header.file("limits").path == tight.name
    assert {j.low for j in result.judgements if j.item == "gain"} == {1.0} != {
        j.low for j in expected.judgements if j.item == "gain"
    }


def test_what_the_numbers_follow_from_names_their_place(recorded, folder, monkeypatch) -> None:
    store, run_id, _ = recorded
    header, mark = store.header(run_id), store.mark(run_id)

    def place(mark=mark, header=header, setup=SETUP):
        return kept_facts.KeptFacts.of(mark, header, setup)._path

    other_file = dataclasses.replace(SETUP.files[0], sha256="0" * 64)
    others = [
        place(mark=f"{mark}1"),
        place(header=dataclasses.replace(header, run_id="other")),
        place(setup=dataclasses.replace(SETUP, files=(other_file, *SETUP.files[1:]))),
        place(setup=dataclasses.replace(SETUP, extras=SETUP.extras[1:])),
    ]
    monkeypatch.setattr(kept_facts, "_software", lambda: "a newer version")
    assert len({place(), *others}) == 5
    assert place(mark="") is None
    monkeypatch.setattr(kept_facts, "LEAST_SETTINGS", 1000)
    assert place() is None
    monkeypatch.setattr(kept_facts, "LEAST_SETTINGS", 1)
    monkeypatch.setattr(kept_facts, "cache_folder", lambda: None)
    assert place() is None


def test_a_damaged_file_is_measured_anew_and_replaced(recorded, folder, measured) -> None:
    store, run_id, expected = recorded
    judged(store, run_id)
    (file,) = folder.iterdir()
    whole, count = file.read_bytes(), len(measured)
    other = zlib.compress(pickle.dumps(expected.verdict))
    for damaged in (
        b"",
        whole[:-1],
        whole[:-1] + bytes([whole[-1] ^ 1]),
        hashlib.sha256(other).digest() + other,
        hashlib.sha256(b"not packed").digest() + b"not packed",
    ):
        file.write_bytes(damaged)
        assert kept_facts.KeptFacts(file).read() is None
    assert judged(store, run_id)[1] == expected
    assert len(measured) == 2 * count
    assert kept_facts.KeptFacts(file).read() is not None


class _Planted:
    """Makes a folder when somebody reads it."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __reduce__(self):
        return Path.mkdir, (self.path,)


@pytest.mark.parametrize("planted", [_Planted, lambda path: judge_of, lambda path: open_store], ids=["os", "app", "fn"])
def test_a_planted_file_is_not_obeyed(folder, tmp_path, planted) -> None:
    target = tmp_path / "made"
    packed = zlib.compress(pickle.dumps(planted(target)))
    file = tmp_path / "x.facts"
    file.write_bytes(hashlib.sha256(packed).digest() + packed)
    assert kept_facts.KeptFacts(file).read() is None
    assert not target.exists()
    with pytest.raises(pickle.UnpicklingError, match="allowed are records and arrays of numbers"):
        kept_facts._OnlyOurs(io.BytesIO(zlib.decompress(packed))).load()


def test_a_run_is_judged_where_nothing_can_be_kept(recorded, folder, monkeypatch) -> None:
    store, run_id, expected = recorded
    folder.parent.mkdir(exist_ok=True)
    folder.write_text("a file where the folder would be")
    assert judged(store, run_id)[1] == expected
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setattr(Path, "home", lambda: (_ for _ in ()).throw(RuntimeError("no home")))
    assert sys.platform == "win32" or kept_facts.cache_folder() is None


def test_a_disk_that_fills_up_leaves_no_half_file(folder, monkeypatch) -> None:
    known = judge_of(SETUP).remember()

    def fills_up(path: Path, data: bytes) -> int:
        with path.open("wb") as file:
            file.write(data[:10])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", fills_up)
    kept_facts.KeptFacts(folder / "a.facts").write(known)
    assert list(folder.iterdir()) == []


def test_the_oldest_files_go(folder, monkeypatch) -> None:
    monkeypatch.setattr(kept_facts, "MOST_FILES", 2)
    known = judge_of(SETUP).remember()
    for age, name in enumerate("abc", start=1):
        kept_facts.KeptFacts(folder / f"{name}.facts").write(known)
        os.utime(folder / f"{name}.facts", (age, age))
    # One that was asked for is none of the oldest.
    assert kept_facts.KeptFacts(folder / "b.facts").read() is not None
    kept_facts.KeptFacts(folder / "d.facts").write(known)
    assert {path.stem for path in folder.iterdir()} == {"b", "d"}


def test_a_recalled_run_takes_no_readings_and_tells_no_part(recorded, folder) -> None:
    store, run_id, expected = recorded
    readings = list(store.readings(run_id))
    taken = judge_of(SETUP)
    for reading in readings:
        taken.add(reading)
    known, judge = taken.remember(), judge_of(SETUP)
    judge.recall(known)
    assert judge.remember() is known
    events = store.events(run_id)
    assert judge.result(events) == judge.under(SETUP.limits).result(events) == expected
    assert judge.measured() == taken.measured()
    with pytest.raises(UsageError, match=r"reading 0: .* take all of them anew to add one"):
        judge.take(readings[0])
    with pytest.raises(UsageError, match=r"1 settings asked for of a run of 18 .* to decide about a part"):
        judge.result(events, only=[SETUP.planned()[0][0]])
    whole = read_setup(str(CONFIGS / "jobs" / "corrie-ur-2.toml"))
    with pytest.raises(UsageError, match=r"known of 18 settings is not that of the 205 planned ones"):
        judge_of(whole).recall(known)


def test_the_collector_stands_still_and_goes_on() -> None:
    with collector_paused():
        assert not gc.isenabled()
        with collector_paused():
            assert not gc.isenabled()
        assert not gc.isenabled()
    assert gc.isenabled()
    with pytest.raises(UsageError), collector_paused():
        raise UsageError("x")
    assert gc.isenabled()
