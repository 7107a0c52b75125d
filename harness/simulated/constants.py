"""Correction constants that a device keeps for each range: its displayed scale includes them, its codes do not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from harness.simulated.error_list import Refusal
from harness.simulated.tree import Leaf, Runner, Suffixes, Tree
from harness.simulated.unit import Axis
from harness.simulated.value import Number, Span, shown

GAIN = Span(low=0.5, high=2.0, default=1.0)
OFFSET = Span(low=-32768.0, high=32767.0, default=0.0)


@dataclass(slots=True)
class Constant:
    """Of one range of one channel."""

    gain_ratio: float = 1.0
    """True gain over nominal gain, as a calibration found it."""
    offset_code: float = 0.0


class Constants:
    """All of a unit, kept through *RST as in a memory of their own; range by its value, such as its full scale."""

    def __init__(self, tree: Tree, axis: Axis, channels: Iterable[int]) -> None:
        self._axis = axis
        self._held = {(channel, place): Constant() for channel in channels for place in range(len(axis.values))}
        for name, field, span in (("GAIN", "gain_ratio", GAIN), ("OFFSet", "offset_code", OFFSET)):
            pattern = f"CALibration#:RANGe:{name}"
            tree.add(
                pattern, Leaf(run=self._put(field, span), run_takes=(2, 2), ask=self._get(field), ask_takes=(1, 1))
            )  # fmt: skip

    def at(self, channel: int, place: int) -> Constant:
        """That of a channel's range by index."""
        return self._held[channel, place]

    def _put(self, field: str, span: Span) -> Runner:
        def run(suffixes: Suffixes, parameters: tuple[str, ...]) -> None:
            setattr(self._of(suffixes, parameters[0]), field, Number().read(parameters[1], span))

        return run

    def _get(self, field: str) -> Runner:
        return lambda suffixes, parameters: shown(getattr(self._of(suffixes, parameters[0]), field))

    def _of(self, suffixes: Suffixes, token: str) -> Constant:
        values = self._axis.values
        value = Number(units=self._axis.units).read(token, Span(low=min(values), high=max(values), default=values[0]))
        for place, candidate in enumerate(values):
            if abs(value - candidate) <= 1e-6 * abs(candidate):
                return self._held[suffixes[0], place]
        raise Refusal(-222, f"{shown(value)}, allowed {', '.join(map(shown, values))}")
