"""Rights on a line from the command line: who is refused, with which word, and what the record holds of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from harness.app.actions import actions_of
from harness.app.calibrate_rights import note_writing, require_writing
from harness.app.people import whoever
from harness.app.production import Asked, admit
from harness.app.setup import read_setup
from harness.app.told import Told
from harness.drivers import RealClock
from harness.errors import ConfigError, LockedOut
from harness.store import Store, book_of, noted, open_store, write_in_book
from harness.values import (
    ATTEMPT,
    FIXTURE,
    VERDICT,
    Action,
    Attempt,
    EndedAs,
    Outcome,
    action_text,
    attempt_text,
    ended_as_text,
)
from tests.production_job import CONFIGS


@pytest.fixture
def job(line_job):
    """A job with a people file, on a line that wants released files and counts its fixture's cycles."""
    path = line_job()
    people = f'people = "{CONFIGS}/people/example-line.toml"\nreleased = true\nfixture_cycles = 1\n'
    with open(path, "a", encoding="utf-8") as file:
        file.write(people)
    return path


@pytest.fixture
def store_url(tmp_path):
    return str(tmp_path / "line.sqlite")


def change(path, old, new):
    text = Path(path).read_text("utf-8")
    assert old in text
    Path(path).write_text(text.replace(old, new), "utf-8")


def refused(store, setup, who, **said):
    with pytest.raises(LockedOut) as held:
        admit(store, setup, "A1", Asked(operator=who, **said), RealClock())
    return held.value


@pytest.mark.parametrize(
    ("who", "said", "words"),
    [
        ("Una Morrow", {"repaired": "K1"}, "Una Morrow (operator) may not say that a unit was repaired: that is for"),
        ("Una Morrow", {"lifts": ("calibration-due=x",)}, "may not lift calibration-due: that is for engineer"),
        ("Una Morrow", {"acts": ("new-reference",)}, "may not let a golden unit forget its history"),
        ("Isla Corran", {}, "Isla Corran is not known here, or has a badge and must be known by it; nothing was done"),
    ],
)
def test_who_may_not_is_refused_and_the_record_says_so(job, store_url, who, said, words):
    setup = read_setup(job)
    with open_store(store_url) as store:
        error = refused(store, setup, who, **said)
        assert words in str(error)
        assert error.codes == ("not-allowed",)
        (done,) = actions_of(store)
        assert (done.kind, done.about) == ("refused", "A1")
        assert done.who.startswith(who)
        # The book is a run to the store, and none to anybody else.
        assert store.runs() == ()
        assert store.check().faults == ()
        assert store.check().runs == 1


def test_the_limits_of_the_job_are_nobodys_to_change_by_an_option(job, store_url, tmp_path):
    other = tmp_path / "limits.toml"
    other.write_text((CONFIGS / "limits" / "skerry-hr-4.toml").read_text())
    with open_store(store_url) as store:
        error = refused(store, read_setup(job, limits_path=str(other)), "Una Morrow")
        assert "may not release files, or measure by other limits than the job's: that is for engineer" in str(error)


def test_files_are_released_and_a_lock_says_who_may_lift_it(job, store_url, gainladder, tmp_path):
    words = ("--store", store_url)
    setup = read_setup(job)
    with open_store(store_url) as store:
        error = refused(store, setup, "Una Morrow")
        assert error.codes == ("golden-missing", "files-unknown")
        assert "limits skerry-hr-4.toml" in str(error)
    ended = gainladder("station", "release", job, "--reason", "first", "--operator", "Una Morrow", *words)
    assert ended.code == 4
    assert "may not release files" in ended.err
    ended = gainladder("station", "release", job, "--reason", "first", "--operator", "LINE-0007", *words)
    assert (ended.code, ended.out.startswith("released by Isla Corran (engineer): line, ")) == (0, True)
    with open_store(store_url) as store:
        assert refused(store, setup, "Una Morrow").codes == ("golden-missing",)
        change(job, "fixture_cycles = 1", "fixture_cycles = 2")
        error = refused(store, read_setup(job), "Una Morrow")
        assert "files-unknown: files of the job were not released for this line (job line.toml)" in str(error)
    assert gainladder("station", "note", job, "cable looks tired", "--operator", "Una Morrow", *words).code == 0
    assert gainladder("station", "fixture", job, "--reason", "new pins", "--operator", "Tam Braid", *words).code == 0
    empty = gainladder("station", "note", job, "  ", "--operator", "Una Morrow", *words)
    assert (empty.code, "got an empty text" in empty.err) == (2, True)
    log = gainladder("station", "log", "--json", *words)
    kinds = [row["kind"] for row in log.json]
    assert kinds == ["refused", "refused", "released", "refused", "refused", "remark", "fixture-renewed"]
    assert "LINE-0007" not in log.out
    assert "Una Morrow (operator)" in gainladder("station", "log", *words).out
    assert gainladder("station", "log", "--since", "2999-01-01", *words).out == ""


def test_a_people_file_that_cannot_be_used_is_named(job):
    change(job, "example-line.toml", "none.toml")
    with pytest.raises(ConfigError, match=r"none\.toml: \(named by .*production\.people\): got No such file"):
        whoever(read_setup(job), "Una Morrow")


def test_a_people_file_with_a_strange_lock(job, tmp_path):
    people = (CONFIGS / "people" / "example-line.toml").read_text()
    (tmp_path / "p.toml").write_text(people.replace('"calibration-due"', '"clock-back"'))
    change(job, f"{CONFIGS}/people/example-line.toml", "p.toml")
    with pytest.raises(ConfigError, match=r"p\.toml: role\[2\]\.lift: got 'clock-back'; allowed: .*calibration-due"):
        whoever(read_setup(job), "Una Morrow")


def test_a_refusal_that_cannot_be_recorded_is_one_all_the_same(job, store_url):
    setup = read_setup(job)
    open_store(store_url).close()
    with open_store(store_url, read_only=True) as store:
        assert isinstance(store, Store)
        error = refused(store, setup, "Nobody")
        assert error.__notes__ == ["this refusal could not be written into the record"]


def test_runs_of_a_fixture_are_counted_until_it_is_renewed(job, store_url):
    setup = read_setup(job)
    station, elsewhere = "simulated bench", "other bench"
    attempt = Attempt(unit="A1", job="x", station=station, number=1, most=3, failed_before=False, repaired="K1")
    renewed = Action(station=elsewhere, who="o", role="", about="line", text="pins")
    with open_store(store_url) as store:

        def write(kind, text):
            write_in_book(store, station, kind, text, RealClock(), software="")

        write(ATTEMPT, attempt_text(attempt))
        write(ATTEMPT, attempt_text(replace(attempt, station=elsewhere)))
        write(VERDICT, ended_as_text(EndedAs(outcome=Outcome.PASS, place="")))
        write(FIXTURE, action_text(renewed))
        assert Told(store, setup).fixture_runs() == 1
        assert "fixture-worn: the fixture has had its cycles (1 runs, allowed are 1)" in str(
            refused(store, setup, "Tam Braid")
        )
        assert "or by the line engineer, for one run, with a reason: --lift CODE=REASON (here: engineer)" in str(
            refused(store, setup, "Tam Braid")
        )
        lifted = refused(store, setup, "LINE-0007", lifts=("fixture-worn=one more",))
        assert lifted.codes == ("golden-missing", "files-unknown")
        write(FIXTURE, action_text(replace(renewed, station=station)))
        assert Told(store, setup).fixture_runs() == 0
        # A line that says something else is none of it.
        write(FIXTURE, "[]")
        assert [done.kind for done in actions_of(store)][:2] == ["repaired", "repaired"]
        assert len({run_id for run_id, _ in noted(store, ATTEMPT)}) == 1


def test_constants_are_the_engineers_to_write(job, store_url):
    setup = read_setup(job)
    run = SimpleNamespace(
        setup=replace(setup, path=Path(job).name), header=SimpleNamespace(unit="A1", run_id=""),
        calibration=SimpleNamespace(constants=(1, 2)),
    )  # fmt: skip
    with open_store(store_url) as store:
        run.header.run_id = book_of(store, "s", RealClock(), software="")
        with pytest.raises(LockedOut, match="may not write constants into a device: that is for engineer"):
            require_writing(store, run, "Una Morrow", job_path=job)
        who = require_writing(store, run, "LINE-0007", job_path=job)
        note_writing(store, run, who, "2 constants written and read back")
        said = [(done.kind, done.who, done.text) for done in actions_of(store)]
        assert said[1:] == [
            ("constants", "Isla Corran (engineer)", "writing of 2 constants begins"),
            ("constants", "Isla Corran (engineer)", "2 constants written and read back"),
        ]
