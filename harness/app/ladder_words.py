"""What is said of a short ladder: in a preview, and in the journal of a run."""

from __future__ import annotations

import dataclasses

from harness.app.output import result
from harness.app.setup import Setup
from harness.values import Rung


def ladder_words(setup: Setup, unit: str) -> str:
    """Which ladder a unit walks and why; empty where the job has no ladder file."""
    every = setup.job.ladder.audit_every
    if setup.audited:
        return f"audit: unit {unit} walks the whole ladder, one unit of {every} by its serial number"
    if setup.short is None:
        return ""
    audit = f"; the whole one on one unit of {every}" if every else "; no unit is audited"
    return f"short ladder: {short_words(setup)}{audit}"


def previewed(setup: Setup, rungs: tuple[Rung, ...]) -> None:
    """The line of a preview, where the job has a ladder file."""
    if setup.short is not None:
        result(ladder_words(dataclasses.replace(setup, rungs=rungs), "") + "\n")


def short_words(setup: Setup) -> str:
    """Name, version, size and what was claimed of a ladder file; whether the device file has changed since."""
    short = setup.short
    if short is None:
        return ""
    channels = len({rung.setting.channel for rung in setup.rungs})
    whole = len(setup.law.coarse_names) * len(setup.law.fine_names) * channels
    of = f" of {whole}" if whole else ""
    words = f"{short.name}, version {short.version}, {len(setup.planned())}{of} settings"
    if short.coverage is not None:
        words += f", made for faults to show at {short.coverage.detect} settings or more"
    if short.device_version != setup.device.version:
        words += (
            f"; made for version {short.device_version} of {short.device}, whose file is now version "
            f"{setup.device.version}: run gainladder shorten again"
        )
    return words
