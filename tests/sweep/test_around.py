"""Trouble on the links of chamber, supply and probe: mended and told, no wrong number, not the end of a night."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from harness.app.bench_open import open_bench
from harness.app.setup import Setup, read_setup
from harness.errors import BenchError, ReadTimeout, WrongInstrument
from harness.sweep import Around
from tests.faults.link_world import KINDS, Spoiler

SETUP: Setup = read_setup(str(Path(__file__).resolve().parents[2] / "configs/jobs/overnight.toml"), ladder=False)
ANSWERS = {"probe": 3, "chamber": 3, "supply": 5}
"""Answers of one look, the error queue's among them."""


class Night:
    """A bench whose chamber and supply are set, and the journal of what happens to their links."""

    def __init__(self, bench: Any) -> None:
        self.surroundings = bench.surroundings
        self.around = Around(bench.surroundings)
        self.lines: list[tuple[str, str]] = []
        self.around.journal(lambda kind, text: self.lines.append((kind, text)))
        self.around.set_voltage(12.0)
        self.around.set_temperature(50.0)
        assert self.lines == []

    def link(self, role: str) -> Any:
        return getattr(self.surroundings, role)._link


@pytest.fixture
def night() -> Iterator[Night]:
    with open_bench(SETUP.bench, SETUP.device, transport="in-process", seed=1, faults=()) as opened:
        yield Night(opened.bench)


Spoil = Callable[[Night], None]


def test_a_look_without_trouble_says_nothing(night: Night) -> None:
    found = night.around.conditions()
    assert set(found) == {"probe_c", "air_c", "supply_v", "supply_a"}
    assert found["supply_v"] == pytest.approx(12.0, abs=0.05)
    assert night.lines == []


@pytest.mark.parametrize("role", sorted(ANSWERS))
@pytest.mark.parametrize("kind", KINDS)
def test_a_spoiled_answer_is_asked_for_again_and_nothing_wrong_comes_of_it(night: Night, role: str, kind: str) -> None:
    sound = night.around.conditions()
    for after in range(ANSWERS[role]):
        # The first byte: a digit that is lost further behind makes less than two answers may differ by.
        night.link(role).hooks.append(Spoiler(kind, after, 0))
        found = night.around.conditions()
        assert night.link(role).hooks == [], (kind, after)  # it was met
        assert found.keys() == sound.keys(), (kind, after)
        # In the meantime a little time has passed, and the unit is on its way to 50 °C.
        assert found["supply_v"] == pytest.approx(sound["supply_v"], abs=0.05), (kind, after)
        assert sound["air_c"] - 1.0 < found["air_c"] < 51.0, (kind, after)
        assert sound["probe_c"] - 1.0 < found["probe_c"] < 56.0, (kind, after)
    assert all(kind == "link" and text.startswith(f"{role}") for kind, text in night.lines)


def test_what_was_set_is_set_again_when_a_link_was_mended(night: Night) -> None:
    supply, chamber = night.surroundings.supply, night.surroundings.chamber
    # What a power cycle leaves: both as after switching on.
    for instrument in (supply, chamber):
        instrument._link.line.instrument.handle(b"*RST")
        instrument._link.hooks.append(Spoiler("lost", 0, 0))
    found = night.around.conditions()
    assert found["supply_v"] == pytest.approx(12.0, abs=0.05)
    assert chamber._query_number(chamber._commands.question("temperature_query")) == 50.0


def test_an_instrument_that_is_gone_is_missing_twice_and_then_ends_the_night(
    night: Night, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone() -> float:
        raise ReadTimeout("no answer", instrument="probe")

    monkeypatch.setattr(night.surroundings.probe, "temperature_c", gone)
    for _ in range(2):
        assert set(night.around.conditions()) == {"air_c", "supply_v", "supply_a"}
    assert [text for kind, text in night.lines if kind == "condition-missing"] == ["probe: probe: no answer"] * 2
    with pytest.raises(BenchError, match="no answer"):
        night.around.conditions()
    monkeypatch.undo()
    assert "probe_c" in night.around.conditions()


def test_another_instrument_in_its_place_is_not_asked_again(night: Night, monkeypatch: pytest.MonkeyPatch) -> None:
    def other() -> float:
        raise WrongInstrument("serial 7 answers", instrument="probe")

    monkeypatch.setattr(night.surroundings.probe, "temperature_c", other)
    with pytest.raises(WrongInstrument, match="serial 7 answers"):
        night.around.conditions()
    assert night.lines == []


def test_what_happens_between_two_runs_stands_in_the_journal_of_the_next(night: Night) -> None:
    night.around.journal(None)
    night.link("chamber").hooks.append(Spoiler("lost", 0, 0))
    night.around.set_temperature(0.0)
    assert night.lines == []
    night.around.journal(lambda kind, text: night.lines.append((kind, text)))
    assert [kind for kind, _ in night.lines] == ["link", "link"]
    night.around.journal(lambda kind, text: night.lines.append((kind, text)))
    assert len(night.lines) == 2
