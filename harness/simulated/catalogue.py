"""What a simulated device tells of itself: its settings, its converter, what its input bears."""

from __future__ import annotations

from collections.abc import Callable

from harness.simulated.tree import Suffixes, Tree
from harness.simulated.unit import UnitTruth
from harness.simulated.value import shown


def add_catalogue(tree: Tree, truth: UnitTruth) -> None:
    """Queries without a parameter; a bare gain stage has none of the settings."""
    converter = truth.converter
    half = 2 ** (converter.bits - 1)
    codes = f"{converter.bits},{-half},{half - 1},{shown(converter.codes_per_v)}"
    tree.query("ACQuire:CHANnel:COUNt", lambda _: str(truth.channels))
    tree.query("ACQuire:CONVerter", lambda _: codes)
    tree.query("INPut#:LIMit", lambda _: f"{shown(truth.input_ohm)},{shown(truth.input_most_vpk)}")
    for axis in truth.axes or ():
        tree.query(f"{axis.pattern}:LIST", _answer(",".join(map(shown, axis.values))))


def _answer(text: str) -> Callable[[Suffixes], str]:
    return lambda _: text
