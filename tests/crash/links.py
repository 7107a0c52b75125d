"""Nights in memory on whose links things go wrong at random: an answer spoiled at some byte, a fault of the catalogue.

Each night has two corners and one unit; one that is stopped is gone on with, as its engineer would, first with its
links still in trouble and in the end with sound ones. `wrong` is what `tests.faults.link_world` asks of each reading.
"""

from __future__ import annotations

import contextlib
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from harness.app import night as nights
from harness.app.bench_open import open_bench
from harness.app.night import NightRequest, carry_out
from harness.app.run import RunRequest
from harness.app.setup import Setup, read_setup
from harness.errors import GainladderError
from harness.simulated import SIZES, catalogue
from harness.store import Store, open_store
from harness.store.recorder import RunRecorder
from harness.values import Purpose, Reading, ReadingStatus
from tests.app.served_bench import ROOT
from tests.faults.link_world import KINDS, Spoiler, wrong_gain, wrong_word

ROLES = ("source", "device", "adapter", "chamber", "supply", "probe")
ANSWERS = {"source": 900, "device": 1500, "adapter": 160, "chamber": 90, "supply": 150, "probe": 90}
"""About as many as a night takes."""
GOES_ON = 4
"""So often a night that was stopped is gone on with; the last time its links are sound."""
LADDER = """[ladder]
channels = [1]
coarse = ["5V", "200mV", "20mV"]
fine = [0, 10, 20]

[anchors]
every_rungs = 8

[[anchors.setting]]
channel = 1
coarse = "200mV"
fine = 10

[night]
units = ["L1"]

[[night.corner]]
name = "warm"
temperature_c = 40.0
supply_v = 11.0

[[night.corner]]
name = "room"
temperature_c = 23.0
supply_v = 12.0

[night.dwell]
within_k = 6.0
look_s = 300.0
"""
FAULTS = tuple(
    f"{entry.name}:{role}{SIZES[entry.id].above}"
    for entry in catalogue()
    for role in entry.roles
    if entry.roles and entry.id != "I28" and not entry.needs
)
"""Every fault of a link in the catalogue, on each link that can have it."""


@dataclass
class LinkNights:
    """What came of them; everything but `faults`, `nights`, `stopped` and `announced` is to stay empty."""

    faults: int = 0
    """That came to pass: an answer was really spoiled, or a fault of the catalogue was in the bench."""
    nights: int = 0
    stopped: int = 0
    """Times that a night was stopped and gone on with."""
    announced: set[tuple[str, int]] = field(default_factory=set)
    wrong: list[str] = field(default_factory=list)
    unfinished: list[str] = field(default_factory=list)
    left_on: list[str] = field(default_factory=list)


def night_setup(folder: Path) -> Setup:
    """The shipped overnight job, shorter."""
    head = (ROOT / "configs/jobs/overnight.toml").read_text().split("[ladder]")[0]
    path = folder / "links.toml"
    path.write_text(head.replace('"../', f'"{ROOT}/configs/') + LADDER)
    return read_setup(str(path))


def link_nights(store: Store, setup: Setup, faults: int, seed: int) -> LinkNights:
    """Nights until so many faults came to pass, recorded in a store."""
    seen, dice = LinkNights(), random.Random(seed)
    with _announcing(seen):
        while seen.faults < faults and seen.nights < 3 * faults + 5:
            seen.nights += 1
            _night(store, setup, f"links-{seed}-{seen.nights}", dice, seen)
    for info in store.runs():
        if info.header.unit == "L1":
            seen.wrong += _wrong(store, setup, info.header.run_id)
    return seen


def _night(store: Store, setup: Setup, night_id: str, dice: random.Random, seen: LinkNights) -> None:
    """One night to its end, with new trouble each time it is gone on with."""
    for again in range(GOES_ON):
        spoilers, named = _trouble(dice) if again < GOES_ON - 1 else ([], ())
        request = NightRequest(
            night_id=night_id, setup_of_cycle=lambda cycle: setup, units=("L1",),
            run=RunRequest(unit="L1", operator="links", faults=named), seed=1, connect=lambda unit: None,
        )  # fmt: skip
        try:
            with _spoiled(spoilers, bool(named), seen):
                end = carry_out(store, request)
            whole = end.finished == end.planned
        except GainladderError:
            whole = False
        seen.faults += len(named) + sum(spoiler.done for _, spoiler in spoilers)
        if whole:
            return
        seen.stopped += 1
    seen.unfinished.append(f"night {night_id} did not come to its end with sound links: {end.stops}")


class _Counted(Spoiler):
    """Knows whether its answer ever came."""

    done = False

    def __call__(self, due: Any, link: Any) -> Any:
        before = len(link.hooks)
        passed = super().__call__(due, link)
        self.done = self.done or len(link.hooks) < before
        return passed


def _trouble(dice: random.Random) -> tuple[list[tuple[str, _Counted]], tuple[str, ...]]:
    """Up to three spoiled answers, or a fault of the catalogue that comes and goes."""
    if dice.random() < 0.3:
        return [], (f"{dice.choice(FAULTS)}~{dice.choice(('0.01', '0.05', '0.3'))}@{dice.randrange(1, 12)}",)
    roles = [dice.choice(ROLES) for _ in range(dice.randrange(1, 4))]
    return [
        (role, _Counted(dice.choice(KINDS), dice.randrange(ANSWERS[role]), dice.randrange(10_000))) for role in roles
    ], ()


@contextlib.contextmanager
def _spoiled(spoilers: list[tuple[str, _Counted]], named: bool, seen: LinkNights) -> Iterator[None]:
    """Whoever opens a bench gets one with this trouble; when it is closed its source must be off."""

    @contextlib.contextmanager
    def opening(*words: Any, **named_words: Any) -> Iterator[Any]:
        with open_bench(*words, **named_words) as opened:
            bench = opened.bench
            around = bench.surroundings
            places = {"chamber": around.chamber, "supply": around.supply, "probe": around.probe}
            for role, spoiler in spoilers:
                instrument = places[role] if role in places else getattr(bench, role)
                instrument._link.hooks.append(spoiler)
            instrument = bench.source._link.line.instrument
            try:
                yield opened
            except BaseException as error:
                told = any("MAY STILL BE ON" in note for note in getattr(error, "__notes__", ()))
                if not told and instrument.handle(b"OUTP?").strip() == b"1":
                    seen.left_on.append(f"{type(error).__name__}: {error}")
                raise
            if instrument.handle(b"OUTP?").strip() == b"1":
                seen.left_on.append("at the end of a night")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(nights, "open_bench", opening)
        yield


@contextlib.contextmanager
def _announcing(seen: LinkNights) -> Iterator[None]:
    """Remember each reading whose `record` has returned."""
    record = RunRecorder.record

    def recorded(self: RunRecorder, reading: Reading) -> None:
        record(self, reading)
        seen.announced.add((self.run_id, reading.index))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(RunRecorder, "record", recorded)
        yield


def _wrong(store: Store, setup: Setup, run_id: str) -> list[str]:
    """What claims to be good and is not, and a unit that is blamed for a link."""
    rungs = {rung.setting: rung for rung in setup.rungs}
    found: list[str] = []
    for reading in store.readings(run_id):
        if reading.status is ReadingStatus.UNMEASURABLE:
            found.append(f"run {run_id}, reading {reading.index}: called unmeasurable: {reading.reason}")
        if reading.status is ReadingStatus.VALID and reading.purpose in (Purpose.LADDER, Purpose.ANCHOR):
            rung = rungs[reading.setting]
            about = wrong_gain(reading, rung) + wrong_word(reading, rung)
            found += [f"run {run_id}, reading {reading.index}: {text}" for text in about]
    return found


def in_folder(folder: Path, faults: int, seed: int) -> LinkNights:
    """Nights in a store of a folder's own, or in the one that is there already."""
    with open_store(str(folder / "station.sqlite")) as store:
        return link_nights(store, night_setup(folder), faults, seed)
