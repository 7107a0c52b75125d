"""Known faults of the converter and of the arithmetic behind it."""

from __future__ import annotations

from typing import Final

from harness.diagnosis.catalogue.entry import Sight, rows

DIGITAL: Final = rows(
    ("F53", "converter-missing-codes", Sight.CONVERTER, "the same codes missing at every setting", "the converter",
     "histogram of all settings together"),
    ("F54", "converter-bits-lost", Sight.CONVERTER, "regular code gaps at every setting, also in the reference range",
     "data bits from the converter", "code gaps in a range that is hardware without doubt"),
    ("F55", "converter-reference-wrong", Sight.GAIN, "one percentage on every setting, clip level in volts moves",
     "reference of the converter", "clip level in volts; noise in codes"),
    ("F56", "fine-gain-arithmetic", Sight.REALNESS, "gain changes without a new word; gaps in the codes",
     "firmware: what it does for a fine step", "code gaps in the raw record; noise referred to the input"),
    ("F57", "scale-not-updated", Sight.GAIN, "volts wrong by a step, codes right",
     "firmware: scale factor of a setting", "raw codes against displayed volts"),
)  # fmt: skip
