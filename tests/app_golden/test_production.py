"""Production mode from the command line: locks, golden checks, retests, and what the record holds of them."""

from __future__ import annotations

import dataclasses

import pytest

from harness.app.bench_open import open_bench
from harness.app.golden.looks import looks, newest, tell_shared
from harness.app.production import Asked, admit
from harness.app.run import RunRequest, new_header
from harness.app.setup import read_setup
from harness.drivers import RealClock
from harness.errors import LockedOut
from harness.store import add_note, noted, open_store
from harness.store.recorder import RunRecorder
from harness.values import (
    ATTEMPT,
    GOLDEN_CHECK,
    GOLDEN_SAYS,
    LIFTED,
    SHARED_FACTOR,
    VERDICT,
    Attempt,
    Certificate,
    EndedAs,
    Outcome,
    attempt_text,
    ended_as_of,
    ended_as_text,
    golden_text,
    shared_factor_text,
)

RELAY = "relay-not-picking:2"


@pytest.fixture
def station(gainladder, line_job, tmp_path):
    """Commands on one store: job first, then words."""
    store = str(tmp_path / "line.sqlite")
    job = line_job()

    def run(*words):
        return gainladder(*words[:-1], job, *words[-1].split(), "--store", store, "--reports", str(tmp_path / "pages"))

    run.store, run.job = store, job
    return run


def sound(station):
    """A station with a reference: one check that was measured, its copies, and one more that was measured."""
    assert station("golden", "check", "--unit G1").code == 5
    with open_store(station.store) as store:
        (first,) = looks(store)
        assert (first.unit, first.station, first.job, first.reference) == ("G1", "simulated bench", "line", True)
        for _ in range(2):
            add_note(store, first.run_id, GOLDEN_CHECK, golden_text(first), RealClock())
    return station("golden", "check", "--unit G1")


def test_a_shift(station, gainladder):
    """One sequence, for each run costs a second: locked, opened by a golden check, retests, locked by the next one."""
    locked = station("sweep", "--unit A1")
    assert locked.code == 4
    assert "golden-missing: no golden unit was ever checked on this station" in locked.err
    assert "lifted by a golden check that is sound" in locked.err
    checked = sound(station)
    assert checked.code == 0, checked.err
    assert checked.out.startswith("PASS  golden unit G1 on simulated bench: ")
    again = gainladder("resume", "last", "--store", station.store)
    assert again.code == 2
    assert "is a golden check, which is never gone on with" in again.err
    _retests(station, gainladder)
    _studied(station, gainladder)
    _moved(station)


def _retests(station, gainladder):
    failed = station("sweep", f"--unit A2 --fault {RELAY}")
    assert failed.code == 1, failed.err
    assert "attempt 1 of 3 of unit A2" in failed.out
    again = station("sweep", "--unit A2")
    assert again.code == 0, again.err
    assert "RETEST PASS, attempt 2 of 3 of unit A2: counted apart from first passes" in again.out
    with pytest.MonkeyPatch.context() as dead:
        dead.setattr(RunRecorder, "record", _dying)
        assert station("sweep", "--unit A3").code == 130
    other = gainladder("resume", "last", "--job", station.job, "--store", station.store)
    assert "first pass, attempt 1 of 3 of unit A3" in other.out
    with open_store(station.store, read_only=True) as store:
        ends = [ended_as_of((event,)) for _, event in noted(store, VERDICT)]
        assert [str(end.outcome) for end in ends] == ["FAIL", "PASS", "PASS"]
        assert ends[0].place.startswith("gain ch2 ")
        # A run that was gone on with is still one.
        assert len(noted(store, ATTEMPT)) == 3
        # Lines behind the end of a run are part of its chain.
        assert store.check().faults == ()


def _dying(self, reading):
    raise KeyboardInterrupt


def _studied(station, gainladder):
    # All runs are of one seed: a simulation that repeats itself is no study of a station.
    studied = gainladder("golden", "study", station.job, "--store", station.store)
    assert studied.code == 2
    assert "these runs allow none" in studied.err
    assert "a simulation with one seed repeats itself" in studied.err
    none = gainladder("golden", "study", "configs/jobs/ci.toml", "--store", station.store)
    assert none.code == 2
    assert "holds no finished run of job ci" in none.err


def _moved(station):
    moved = station("golden", "check", "--unit G1 --fault pad-wrong=0.02 --json")
    assert moved.code == 1, moved.out
    assert not all(row["inside"] for row in moved.json["rows"])
    locked = station("sweep", "--unit A1")
    assert locked.code == 4
    assert "golden-failed: the last golden check was not sound" in locked.err
    with open_store(station.store) as store:
        # 0.02 dB is 0.23 %.
        assert looks(store)[-1].common_percent == pytest.approx(-0.2303, abs=0.03)
        # A unit that is off by what the golden unit is off by, and another one that is not.
        run_id = looks(store)[0].run_id
        setup = read_setup(station.job)
        for ratio, whose in ((0.9977, ["station"]), (0.8, [])):
            add_note(store, run_id, SHARED_FACTOR, shared_factor_text(ratio, "two channels"), RealClock())
            before = len(noted(store, GOLDEN_SAYS))
            tell_shared(store, setup, run_id, RealClock())
            assert [event.text.split(":")[0] for _, event in noted(store, GOLDEN_SAYS)][before:] == whose
        elsewhere = dataclasses.replace(looks(store)[0], station="other bench")
        add_note(store, run_id, GOLDEN_CHECK, golden_text(elsewhere), RealClock())
        assert newest(store, setup).outcome is Outcome.FAIL


def test_a_simulated_bench_is_locked_unless_the_job_allows_it(gainladder, line_job, tmp_path):
    job = line_job(simulated=False)
    ended = gainladder("golden", "check", job, "--unit", "G1", "--store", str(tmp_path / "s.sqlite"))
    assert ended.code == 4
    assert "simulated-bench: the bench is simulated" in ended.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("sweep", "--unit G1"), "G1 is a golden unit of this job: measure it with `gainladder golden check`"),
        (("golden", "check", "--unit A1"), "A1 is no golden unit; production.golden_units allows G1"),
        (
            ("sweep", "--unit A1 --lift disk-low=no"),
            "--lift: got 'disk-low=no'; allowed: CODE=REASON with a code of calib",
        ),
    ],
)
def test_what_is_asked_wrongly_is_a_usage_error(station, words, said):
    ended = station(*words)
    assert ended.code == 2
    assert said in ended.err


def test_lifts_go_with_production_mode_only(gainladder, tmp_path):
    ended = gainladder("sweep", "configs/jobs/ci.toml", "--repaired", "K1")
    assert ended.code == 2
    assert "--lift and --repaired go with a job that has [production]" in ended.err
    assert gainladder("sweep", "configs/jobs/overnight.toml", "--lift", "calibration-due=sent").code == 2
    night = gainladder("golden", "check", "configs/jobs/overnight.toml", "--unit", "G1", "--store", str(tmp_path / "s"))
    assert night.code == 2
    assert "a night is no golden check" in night.err


@pytest.fixture
def begun(line_job, tmp_path):
    """An open store with three runs of unit A1 that have no end, and the setup of their job."""
    setup = read_setup(line_job())
    with open_store(str(tmp_path / "s.sqlite")) as store:
        with open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened:
            header = new_header(setup, opened, RunRequest(unit="A1", operator="o", faults=()))
            for name in ("r1", "r2", "r3"):
                store.begin(dataclasses.replace(header, run_id=name), opened.bench.clock)
        yield store, setup


def _codes(store, setup, run_id="", **said):
    with pytest.raises(LockedOut) as held:
        admit(store, setup, "A1", Asked(operator="o", **said), RealClock(), run_id=run_id)
    return held.value.codes


def test_a_run_is_not_gone_on_with_past_a_lock(begun, gainladder, tmp_path):
    store, _ = begun
    resume = ("resume", "r1", "--job", str(tmp_path / "line.toml"), "--store", str(tmp_path / "s.sqlite"))
    ended = gainladder(*resume)
    assert ended.code == 4, ended.err
    assert "golden-missing: no golden unit was ever checked on this station" in ended.err
    assert [event.kind for event in store.events("r1")] == [event.kind for event in store.events("r2")]
    assert gainladder(*resume, "--lift", "disk-low=no").code == 2


def test_what_was_lifted_for_a_run_stays_lifted_for_it(begun, monkeypatch):
    store, setup = begun
    none = Certificate(role="source", number="", laboratory="", calibrated="", valid_until="")
    monkeypatch.setattr("harness.app.told.certificates_of", lambda bench: (none,))
    add_note(store, "r1", LIFTED, "calibration-unknown by o: sent away", RealClock())
    assert _codes(store, setup, "r1") == ("golden-missing",)
    assert _codes(store, setup, "r2") == ("golden-missing", "calibration-unknown")
    assert _codes(store, setup, "r2", lifts=("calibration-unknown=sent",)) == ("golden-missing",)


def test_a_run_that_goes_on_is_no_attempt_before_itself(begun):
    store, setup = begun
    for number, run_id in enumerate(("r1", "r2", "r3"), 1):
        attempt = Attempt(
            unit="A1", job="line", station="elsewhere", number=number, most=3, failed_before=number > 1, repaired=""
        )
        add_note(store, run_id, ATTEMPT, attempt_text(attempt), RealClock())
        add_note(store, run_id, VERDICT, ended_as_text(EndedAs(outcome=Outcome.FAIL, place="gain")), RealClock())
    assert _codes(store, setup, "r3") == ("golden-missing",)
    assert _codes(store, setup) == ("golden-missing", "quarantine")
    assert _codes(store, setup, repaired="K1") == ("golden-missing",)
