"""What surrounds a unit, past trouble of its links: a glitch at three in the morning must not end the night."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TypeVar

from harness.bench import Chamber, Supply, Surroundings
from harness.bench.contracts import Instrument
from harness.errors import BadReply, BenchError, RefusedUnsafe, WrongInstrument

Note = Callable[[str, str], None]
Answer = TypeVar("Answer")

TRIES = 3
"""Of one question; the link is mended in between."""
SILENT_LOOKS = 3
"""So many looks in a row without an answer mean that an instrument is gone."""
SAME, SAME_RATIO = 0.3, 0.05
"""Two answers a moment apart agree within this much (K, V, A) or this share: noise and ramps are smaller."""


class Around:
    """Chamber, supply and probe as a night uses them.

    After trouble a link is mended and what had been set is set again, for an instrument whose power was cycled has
    forgotten it. Each answer is followed by the error queue: a line that does not belong to the question is found
    there at the latest; and each look asks twice: of a number that lost a digit nothing else tells. What happens is
    noted in the run's journal; between two runs it is kept for the next one.
    """

    def __init__(self, surroundings: Surroundings) -> None:
        """Nothing is asked or set yet."""
        self._surroundings = surroundings
        self._note: Note | None = None
        self._kept: list[tuple[str, str]] = []
        self._temperature_c: float | None = None
        self._voltage_v: float | None = None
        self._silent: dict[str, int] = {}

    def journal(self, note: Note | None) -> None:
        """Where lines go from now on; None keeps them for the next journal."""
        self._note = note
        while note is not None and self._kept:
            note(*self._kept.pop(0))

    def set_temperature(self, temperature_c: float) -> None:
        """Set the chamber, if there is one; BenchError when it does not take it, with its link mended in between."""
        chamber = self._surroundings.chamber
        if chamber is not None:
            self._temperature_c = temperature_c
            self._asked("chamber", chamber, lambda: chamber.set_temperature(temperature_c))

    def set_voltage(self, voltage_v: float) -> None:
        """Set the supply, if there is one; BenchError as of the chamber."""
        supply = self._surroundings.supply
        if supply is not None:
            self._voltage_v = voltage_v
            self._asked("supply", supply, lambda: supply.set_voltage(voltage_v))

    def conditions(self) -> dict[str, float]:
        """All that answers, by name: probe_c, air_c, supply_v, supply_a.

        BenchError when an instrument has not answered for three looks in a row, or another one answers in its place.
        """
        probe, chamber, supply = self._surroundings.probe, self._surroundings.chamber, self._surroundings.supply
        found: dict[str, float] = {}
        if probe is not None:
            found |= self._looked("probe", probe, lambda: {"probe_c": probe.temperature_c()})
        if chamber is not None:
            found |= self._looked("chamber", chamber, lambda: {"air_c": chamber.air_c()})
        if supply is not None:
            names = ("supply_v", "supply_a")
            found |= self._looked("supply", supply, lambda: dict(zip(names, supply.measured(), strict=True)))
        return found

    def _looked(self, role: str, instrument: Instrument, ask: Callable[[], dict[str, float]]) -> dict[str, float]:
        def twice() -> dict[str, float]:
            first, again = ask(), ask()
            if not _agree(first, again):
                raise BadReply(f"said {_words(first)} and a moment later {_words(again)}", instrument=role)
            return again

        try:
            answer = self._asked(role, instrument, twice)
        except (WrongInstrument, RefusedUnsafe):
            raise
        except BenchError as error:
            self._silent[role] = self._silent.get(role, 0) + 1
            if self._silent[role] >= SILENT_LOOKS:
                raise
            self._tell("condition-missing", f"{role}: {error}")
            return {}
        self._silent[role] = 0
        return answer

    def _asked(self, role: str, instrument: Instrument, ask: Callable[[], Answer]) -> Answer:
        for left in reversed(range(TRIES)):
            try:
                answer = ask()
                errors = instrument.drain_errors()
            except (WrongInstrument, RefusedUnsafe):
                raise
            except BenchError as error:
                if not left:
                    raise
                self._tell("link", f"{role}: {error}")
                self._mend(role, instrument)
            else:
                if errors:
                    self._tell("link", f"{role} reports {'; '.join(errors)}")
                return answer
        raise AssertionError  # pragma: no cover - the last try returns or raises

    def _mend(self, role: str, instrument: Instrument) -> None:
        """Make a link sound and set again what was set; a second failure is the next try's."""
        try:
            self._tell("link", f"{role}: {instrument.resynchronise()}")
            if isinstance(instrument, Chamber) and self._temperature_c is not None:
                instrument.set_temperature(self._temperature_c)
            if isinstance(instrument, Supply) and self._voltage_v is not None:
                instrument.set_voltage(self._voltage_v)
        except (WrongInstrument, RefusedUnsafe):
            raise
        except BenchError as error:
            self._tell("link", f"{role}: not mended: {error}")

    def _tell(self, kind: str, text: str) -> None:
        if self._note is None:
            self._kept.append((kind, text))
        else:
            self._note(kind, text)


def _agree(first: Mapping[str, float], again: Mapping[str, float]) -> bool:
    return all(math.isclose(value, again[name], rel_tol=SAME_RATIO, abs_tol=SAME) for name, value in first.items())


def _words(values: Mapping[str, float]) -> str:
    return ", ".join(f"{name} {value:g}" for name, value in values.items())
