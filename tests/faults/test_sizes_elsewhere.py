"""Sizes of the other devices: in order, injectable, and none without need."""

from __future__ import annotations

import pytest

from harness.simulated import SIZES, catalogue
from harness.simulated.corrie_ur2 import CorrieTruth
from harness.simulated.faults.reading import read_fault
from harness.simulated.tarn_vg1 import TarnTruth
from tests.faults.detection import text_of
from tests.faults.sizes_elsewhere import ELSEWHERE, sizes_of
from tests.faults.smallest import size_at

BY_ID = {entry.id: entry for entry in catalogue()}
UNITS = {"tarn-vg-1": TarnTruth(), "corrie-ur-2": CorrieTruth()}
OWN = [(device, identity) for device, rows in ELSEWHERE.items() for identity in rows]


@pytest.mark.parametrize(("device", "identity"), OWN)
def test_a_size_can_be_injected_and_differs_from_that_of_the_reference(device: str, identity: str) -> None:
    entry = BY_ID[identity]
    sizes, reason = sizes_of(entry, f"{device} beside"), ELSEWHERE[device][identity][1]
    assert reason
    assert sizes != SIZES[identity]
    assert sizes.kind == SIZES[identity].kind
    for text in (sizes.below, sizes.at, sizes.above):
        if text is not None:
            assert read_fault(entry.name + text, unit=UNITS[device]).entry is entry


def test_effects_double_from_below_to_at() -> None:
    """As in the list: half the limit, the limit."""
    for device, identity in OWN:
        own = sizes_of(BY_ID[identity], device)
        if own.kind == "E" and identity not in ("F25", "T6") and own.at and own.below:
            half = size_at(BY_ID[identity], -2, ladder=device).split(",")[0]
            assert float(half) == float(own.below[1:].split(",")[0]), (device, identity)


def test_the_reference_keeps_its_sizes_and_others_have_theirs() -> None:
    assert sizes_of(BY_ID["F33"], "skerry-hr-4") is SIZES["F33"]
    assert sizes_of(BY_ID["F01"], "corrie-ur-2") is SIZES["F01"]
    assert text_of(BY_ID["F33"], "above", "corrie-ur-2") == "load-resistor-wrong=8.0"
    assert text_of(BY_ID["F19"], "above", "tarn-vg-1") == "register-reset-mid-run:2@37"
