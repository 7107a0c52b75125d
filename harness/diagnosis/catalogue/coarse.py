"""Known faults of ranges: relays, dividers, pre-gain."""

from __future__ import annotations

from typing import Final

from harness.diagnosis.catalogue.entry import Sight, rows

COIL = "coil, driver transistor and contact of the relay"
DIVIDER = "resistors of that divider"

COARSE: Final = rows(
    ("F21", "relay-not-picking", Sight.RANGES, "a decade or more on every range that needs the relay, others right",
     COIL, "coil current; a range that needs other relays"),
    ("F22", "relay-stuck-on", Sight.RANGES, "a decade or more on every range that wants the relay off", COIL,
     "coil current with the relay off; input-referred noise"),
    ("F23", "relay-contact-film", Sight.REPEATS, "repeats scatter more after a toggle of the relay",
     "contacts of that relay", "ten repeats with and ten without a toggle"),
    ("F24", "relay-drivers-swapped", Sight.RANGES, "gains of two positions exchanged", "wiring of the relay drivers",
     "coil current of each relay, one at a time"),
    ("F25", "relay-settles-late", Sight.GAIN, "only the first reading after a change of range is off", COIL,
     "read twice after a change of range; a longer wait"),
    ("F26", "attenuator-resistor-wrong", Sight.RANGES, "one percentage on all settings that use a divider", DIVIDER,
     "an overlap point with another source range; the same ranges at another frequency"),
    ("F27", "attenuator-compensation-wrong", Sight.FREQUENCY, "right at low frequency, off at high frequency",
     "compensation capacitor of that divider", "ratio of gains at two frequencies, divider by divider"),
    ("F28", "pregain-bit-stuck", Sight.GAIN, "the pre-gain factor is missing, or there, where it should not be",
     "pre-gain switch and its control bit", "pre-gain on against off at one code; input-referred noise"),
    ("F29", "pregain-ratio-wrong", Sight.GAIN, "one percentage on all settings with pre-gain",
     "feedback resistors of the pre-gain stage", "pre-gain on against off at one code"),
)  # fmt: skip
