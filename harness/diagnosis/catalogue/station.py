"""Known faults of the station: the tester, not the unit."""

from __future__ import annotations

from typing import Final

from harness.diagnosis.catalogue.entry import Sight, rows

METER = "a meter at the device's input; another unit on this station"
TERMINATION = "terminators and load setting of the source"

STATION: Final = rows(
    ("T1", "source-load-mis-set", Sight.GAIN, "one factor on every setting of every unit, exactly 2 for high impedance",
     "load setting of the source", METER),
    ("T2", "terminator-wrong", Sight.GAIN, "one exact factor on every setting of every unit", TERMINATION, METER),
    ("T3", "pad-wrong", Sight.GAIN, "one factor on all settings that use a pad, on every unit", "pads on the bench",
     METER),
    ("T4", "unit-mix-up", Sight.GAIN, "a factor between rms, peak, peak-to-peak or dBm", "unit of the source's level",
     METER),
    ("T5", "probe-factor-wrong", Sight.GAIN, "exactly 10 or 100 on every setting", "probe factor and its read-back",
     METER),
    ("T6", "settle-too-short", Sight.GAIN, "the first reading after a change is off, on every unit",
     "waits in the device file", "read twice after a change; another unit"),
    ("T7", "averaging-left-on", Sight.REALNESS, "too little noise, code gaps filled", "acquisition mode",
     "read the mode back; sample spacing against sample rate"),
    ("T8", "cables-swapped", Sight.CHANNELS, "a channel shows another channel's signal", "cables at the inputs",
     "drive one input at a time"),
    ("T9", "stale-record", Sight.GAIN, "each reading is that of the setting before", "link and sequence of fetches",
     "tag the level of the source by 2 %; time stamps"),
    ("T10", "autorange-on", Sight.GAIN, "single settings off, read-back differs", "range mode of the instrument",
     "read back after each change"),
    ("T11", "reference-meter-drifted", Sight.GOLDEN, "one percentage on every setting of every unit",
     "calibration of meter and source", "golden unit; another station"),
    ("T12", "fixture-worn", Sight.REPEATS, "readings scatter between reseats", "contacts of the fixture",
     "reseat ten times; the same unit on another fixture"),
)  # fmt: skip
