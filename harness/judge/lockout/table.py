"""The lock-outs: a code, plain text, and who may lift it."""

from __future__ import annotations

from dataclasses import dataclass

ENGINEER = "the line engineer, for one run, with a reason: --lift CODE=REASON"
GOLDEN = "a golden check that is sound: gainladder golden check JOB --unit SERIAL"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lock:
    """One row."""

    code: str
    text: str
    """What is the matter, in plain words."""
    lift: str
    """Who may lift it, and how."""
    by_option: bool = False
    """Whether `--lift` does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ActiveLock:
    """A lock that holds now."""

    lock: Lock
    detail: str
    """With numbers: what was got, what is allowed."""

    def __str__(self) -> str:
        return f"{self.lock.code}: {self.lock.text} ({self.detail}); lifted by {self.lock.lift}"


_ROWS = (
    Lock(code="golden-missing", text="no golden unit was ever checked on this station", lift=GOLDEN),
    Lock(code="golden-old", text="the last golden check is too old", lift=GOLDEN),
    Lock(code="golden-failed", text="the last golden check was not sound", lift=GOLDEN),
    Lock(code="equal-failures", text="several units in a row failed at one place: as likely the station", lift=GOLDEN),
    Lock(code="calibration-due", text="a calibration certificate has run out", lift=ENGINEER, by_option=True),
    Lock(code="calibration-unknown", text="an instrument has no certificate", lift=ENGINEER, by_option=True),
    Lock(
        code="files-unknown", text="files of the job were not released for this line",
        lift="the line engineer, who has looked at them: gainladder station release JOB --reason TEXT",
    ),
    Lock(
        code="fixture-worn", text="the fixture has had its cycles",
        lift="whoever has renewed it: gainladder station fixture JOB --reason TEXT, or by " + ENGINEER, by_option=True,
    ),
    Lock(
        code="simulated-bench", text="the bench is simulated",
        lift="nobody: name a real bench, or allow it in the job with production.simulated = true",
    ),
    Lock(
        code="clock-back", text="the clock of this computer was set back",
        lift="whoever sets the clock right; until then ages and due dates mean nothing",
    ),
    Lock(code="disk-low", text="the disk of the store is nearly full", lift="whoever makes room, or --store elsewhere"),
    Lock(
        code="quarantine", text="the unit has had all its runs without a repair",
        lift="whoever has repaired it: --repaired WHAT-WAS-DONE",
    ),
    Lock(
        code="retest-again", text="the unit has passed on a retest before and failed again",
        lift="the technician who has looked at it: --repaired WHAT-WAS-DONE",
    ),
)  # fmt: skip
LOCKS = {lock.code: lock for lock in _ROWS}
"""By code."""
