"""`gainladder resume`: the numbers of an uninterrupted run, and a refusal wherever they would not be."""

from __future__ import annotations

import contextlib
import functools
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness.app.bench_open import open_bench
from harness.app.resume import ResumeRequest, resume_run
from harness.app.run import RunRequest, new_header, record_run
from harness.app.run_lock import is_under_way, owning
from harness.app.setup import read_setup
from harness.store import open_store
from harness.store.recorder import RunRecorder
from harness.values import Direction, Purpose, Reading, Setting

ROOT = Path(__file__).resolve().parents[2]
SMALL = '[ladder]\nchannels = [1]\ncoarse = ["5V", "20mV", "10mV"]\nfine = [0, 10, 20]\n'
PLANNED = 18
Key = tuple[Setting, Direction]
Dying = Callable[..., None]


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The CI job cut down, with its own copy of all files; tests leave them as they are."""
    home = tmp_path_factory.mktemp("resume")
    shutil.copytree(ROOT / "configs", home / "configs")
    path = home / "configs" / "jobs" / "ci.toml"
    path.write_text(path.read_text().split("[ladder]")[0] + SMALL)
    return path


@contextlib.contextmanager
def changed(job: Path, name: str, text: str | None) -> Iterator[None]:
    """A file of the job with another text, or gone, for a while."""
    path = job.parents[1] / f"{name}.toml"
    kept = path.read_text()
    path.unlink() if text is None else path.write_text(text)
    try:
        yield
    finally:
        path.write_text(kept)


def swept(job: Path, store: Path, *, die_at: int | None = None, politely: bool = False) -> Path:
    """A run that dies before it records a reading; `politely` leaves an end in the record, else there is none."""
    record = RunRecorder.record

    def recorded(self: RunRecorder, reading: Reading) -> None:
        if reading.index == die_at:
            raise KeyboardInterrupt
        record(self, reading)

    setup = read_setup(str(job))
    wanted = RunRequest(unit="A1", operator="test", faults=())
    with pytest.MonkeyPatch.context() as dead, open_store(str(store)) as opened_store:
        dead.setattr(RunRecorder, "record", recorded)
        if die_at is not None and not politely:
            dead.setattr(RunRecorder, "finish", lambda self, end, text="": None)
        with open_bench(setup.bench, setup.device, transport="in-process", seed=3, faults=()) as opened:
            header = new_header(setup, opened, wanted)
            with contextlib.suppress(KeyboardInterrupt):
                record_run(setup, opened, opened_store, header)
    return store


@pytest.fixture(scope="module")
def dead_at(job: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """A store with a run that died at a reading; each made once."""
    home = tmp_path_factory.mktemp("dead")

    @functools.cache
    def made(at: int, politely: bool) -> Path:
        return swept(job, home / f"{at}-{politely}.sqlite", die_at=at, politely=politely)

    return made


@pytest.fixture
def dying(dead_at: Callable[..., Path], tmp_path: Path) -> Callable[..., None]:
    """Lays such a store where the commands look for it."""

    def lay(at: int, *, politely: bool = False) -> None:
        shutil.copy(dead_at(at, politely), tmp_path / "runs.sqlite")

    return lay


@pytest.fixture(scope="module")
def whole(job: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[Key, Reading]:
    """The readings of a run that nothing interrupted."""
    home = tmp_path_factory.mktemp("whole")
    swept(job, home / "runs.sqlite")
    return of_ladder(recorded(home)[0])


def recorded(tmp_path: Path, run: str = "last") -> tuple[list[Reading], list[tuple[str, str]]]:
    with open_store(str(tmp_path / "runs.sqlite"), read_only=True) as store:
        run_id = store.resolve(run)
        return list(store.readings(run_id)), [(event.kind, event.text) for event in store.events(run_id)]


def go_on(tmp_path: Path, job: Path, **asked: Any) -> None:
    """What the command does, without the page at its end."""
    with open_store(str(tmp_path / "runs.sqlite")) as store:
        assert resume_run(store, store.resolve("last"), ResumeRequest(job_path=str(job), **asked)) is None


def of_ladder(readings: list[Reading]) -> dict[Key, Reading]:
    final = [r for r in readings if r.final and r.purpose is Purpose.LADDER]
    found = {(r.setting, r.direction): r for r in final}
    assert len(found) == len(final), "a key was read twice"
    return found


def amplitude_code(reading: Reading) -> float:
    """Projection on a sine of the test frequency, by numpy alone."""
    wave = reading.waveform
    assert wave is not None
    t_s = np.arange(wave.codes.size) / wave.sample_rate_hz
    return 2.0 * float(abs(wave.codes @ np.exp(2j * np.pi * reading.frequency_hz * t_s))) / wave.codes.size


@pytest.mark.parametrize(("at", "politely"), [(0, False), (7, True), (PLANNED - 1, False)])
def test_a_resumed_run_has_the_numbers_of_an_uninterrupted_one(
    gainladder: Any, dying: Dying, whole: dict[Key, Reading], job: Path, tmp_path: Path, at: int, politely: bool
) -> None:
    dying(at, politely=politely)
    before, _ = recorded(tmp_path)
    if politely:
        resumed = gainladder("resume", "last", "--job", str(job), "--json")
        assert resumed.code == 0, resumed.err
        assert resumed.json["counts"]["PASS"] == 9
    else:
        go_on(tmp_path, job)
    readings, journal = recorded(tmp_path)
    assert [r.index for r in readings] == list(range(len(readings)))
    for old, same in zip(before, readings, strict=False):
        assert np.array_equal(old.waveform.codes, same.waveform.codes)
    kinds = [kind for kind, _ in journal]
    assert kinds.count("resumed") == 1
    assert kinds.count("anchor") == min(at, 4)
    assert "discontinuity" not in kinds
    assert ("finished", "") in journal
    mended = of_ladder(readings)
    assert list(mended) == list(whole)
    for key, reading in whole.items():
        again = mended[key]
        assert again.drive_read_vpk == reading.drive_read_vpk
        assert again.read_back == reading.read_back
        # The physics leaves the noise open: 0.6 codes rms in 4000 samples move the amplitude by 0.013; six of that,
        # and 0.01 % of the unit's own warming up.
        assert amplitude_code(again) == pytest.approx(amplitude_code(reading), abs=0.2 + 1e-4 * 1500)


def test_a_finished_run_has_nothing_left(gainladder: Any, dying: Dying, tmp_path: Path) -> None:
    dying(7)
    with contextlib.closing(sqlite3.connect(tmp_path / "runs.sqlite")) as bare, bare:
        bare.execute("update runs set end = 'finished'")
    ended = gainladder("resume", "last")
    assert ended.code == 2
    assert "is finished, nothing is left of it: begin another run" in ended.err


def test_a_run_that_is_under_way_is_left_alone(gainladder: Any, dying: Dying, job: Path, tmp_path: Path) -> None:
    dying(7)
    with open_store(str(tmp_path / "runs.sqlite"), read_only=True) as store:
        run_id = store.resolve("last")
    with owning(run_id):
        ended = gainladder("resume", "last")
        assert is_under_way(run_id)
    assert ended.code == 2
    assert f"run {run_id} is under way: held by process " in ended.err
    assert not is_under_way(run_id)


@pytest.mark.parametrize("role", ["devices/skerry-hr-4", "limits/skerry-hr-4", "jobs/ci", "instruments/machair-sg-1"])
def test_a_file_that_changed_is_a_refusal_unless_told(
    gainladder: Any, dying: Dying, job: Path, tmp_path: Path, role: str
) -> None:
    dying(7)
    with changed(job, role, (job.parents[1] / f"{role}.toml").read_text() + "\n# one more line\n"):
        ended = gainladder("resume", "last", "--job", str(job))
        if role == "jobs/ci":
            go_on(tmp_path, job, as_recorded=True)
    assert ended.code == 2
    assert f"{role}.toml" in ended.err
    assert "has changed since the run began" in ended.err
    assert "--as-recorded" in ended.err
    if role != "jobs/ci":
        assert len(recorded(tmp_path)[0]) == 7
    else:
        (said,) = [text for kind, text in recorded(tmp_path)[1] if kind == "resumed"]
        assert "by the files in the record although" in said
        assert "11 of 18 readings left" in said


def test_files_that_are_not_there_are_asked_for(gainladder: Any, dying: Dying, job: Path, tmp_path: Path) -> None:
    dying(7)
    # The record keeps no folder of an absolute path: those are the machine's own.
    ended = gainladder("resume", "last")
    assert ended.code == 2
    assert "ci.toml (job) is not there: say with --job where it is now." in ended.err
    with changed(job, "limits/skerry-hr-4", None):
        ended = gainladder("resume", "last", "--job", str(job))
    assert ended.code == 2
    assert "skerry-hr-4.toml (limits) is not there" in ended.err


def test_a_bench_that_is_another_one_is_refused_and_other_addresses_are_not(
    gainladder: Any, dying: Dying, job: Path, tmp_path: Path
) -> None:
    dying(7)
    text = (job.parents[1] / "benches" / "simulated.toml").read_text()
    for other, words in (
        (text.replace("load_ohm = 250.0e3", "load_ohm = 240.0e3"), "wiring differs"),
        ("not toml", "benches/simulated.toml: (text): "),
    ):
        with changed(job, "benches/simulated", other):
            ended = gainladder("resume", "last", "--job", str(job))
        assert ended.code == 2
        assert "(bench) is another bench: " in ended.err
        assert words in ended.err
    with changed(job, "benches/simulated", text.replace("timeout_s = 5.0", "timeout_s = 4.0")):
        go_on(tmp_path, job)
    (said,) = [text for kind, text in recorded(tmp_path)[1] if kind == "resumed"]
    assert "addresses from simulated.toml (sha256 " in said


def test_another_instrument_than_that_of_the_run_is_refused(gainladder: Any, dying: Dying, tmp_path: Path) -> None:
    dying(7)
    with contextlib.closing(sqlite3.connect(tmp_path / "runs.sqlite")) as bare, bare:
        bare.execute("update runs set identities = replace(identities, 'MA000001', 'MA000002')")
    ended = gainladder("resume", "last", "--as-recorded")
    assert ended.code == 3
    assert "WrongInstrument: source: " in ended.err
    assert "serial MA000001" in ended.err
    assert "serial MA000002" in ended.err
    assert len(recorded(tmp_path)[0]) == 7


def test_another_firmware_is_told_in_the_record(dying: Dying, job: Path, tmp_path: Path) -> None:
    dying(7)
    with contextlib.closing(sqlite3.connect(tmp_path / "runs.sqlite")) as bare, bare:
        bare.execute("""update runs set identities = replace(identities, '"MA000001","1.0"', '"MA000001","0.9"')""")
    go_on(tmp_path, job)
    (said,) = [text for kind, text in recorded(tmp_path)[1] if kind == "resumed"]
    assert "firmware of the source was 0.9, is 1.0" in said


def test_a_unit_that_moved_while_the_run_lay_still_is_marked(
    gainladder: Any, dying: Dying, job: Path, tmp_path: Path
) -> None:
    dying(7)
    with contextlib.closing(sqlite3.connect(tmp_path / "runs.sqlite")) as bare, bare:
        bare.execute("""update runs set faults = '["pregain-ratio-wrong:1=1"]'""")
    ended = gainladder("resume", "last", "--job", str(job))
    assert ended.code in (0, 1, 5)
    moved = [text for kind, text in recorded(tmp_path)[1] if kind == "discontinuity"]
    assert moved
    assert "readings before and after do not belong together" in next((tmp_path / "pages").glob("*.html")).read_text()
