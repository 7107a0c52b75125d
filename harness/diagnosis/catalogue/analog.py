"""Known faults of the fine gain and of the analog path."""

from __future__ import annotations

from typing import Final

from harness.diagnosis.catalogue.entry import Sight, rows

OUTPUT = "output of the gain stage and its load"
BITS = "resistors of the gain device's ladder"
INPUT = "input stage: bias, offset trim"
FEEDBACK = "feedback resistor of the gain device"
REFERENCE = "reference and what hangs on it"
SUPPLY = "supply filters, ground connections, screening"
TWO_LEVELS = "one setting at low and at high fill"

ANALOG: Final = rows(
    ("F30", "load-resistor-missing", Sight.GAIN, "one factor on every setting, 2 for a lost load", OUTPUT,
     "add an outside load of 1 kΩ: the gain then falls; output clip level"),
    ("F31", "bit-weight-wrong", Sight.GAIN, "part of one bit's weight is missing, or too much, where the bit is set",
     BITS, "walk a single one and a single zero through the code"),
    ("F32", "major-carry-step", Sight.GAIN, "a step between the two codes at the middle of the range", BITS,
     "all codes near the middle, one by one"),
    ("F33", "load-resistor-wrong", Sight.GAIN, "one percentage on every setting, clip level unmoved", OUTPUT,
     "another channel; output clip level; another unit on this station"),
    ("F34", "external-feedback-resistor", Sight.GAIN, "one factor on every setting, and a temperature coefficient",
     FEEDBACK, "the same setting at two temperatures"),
    ("F35", "reference-wrong", Sight.GAIN, "one percentage on every setting and channel, drifts with temperature",
     REFERENCE, "another user of the reference; one setting again after ten minutes; golden unit"),
    ("F36", "temperature-compensation-missing", Sight.TEMPERATURE, "gain falls in proportion to temperature",
     "temperature compensation of the gain device", "the same setting at two temperatures"),
    ("F37", "output-compression", Sight.LEVELS, "gain falls with level; third harmonic", OUTPUT, TWO_LEVELS),
    ("F38", "input-offset", Sight.OFFSET, "offset that grows with the gain", INPUT, "offset against gain: its slope"),
    ("F39", "output-offset", Sight.OFFSET, "the same offset at all gains, clips on one side",
     "offset converter behind the gain", "offset against gain: what is left at no gain"),
    ("F40", "excess-noise", Sight.NOISE, "noise too high, white or rising to low frequency",
     "first amplifier and its supply decoupling", "spectrum with the source off, on a low and a high gain"),
    ("F41", "mains-or-supply-line", Sight.NOISE, "lines at mains or switching frequency in the spectrum", SUPPLY,
     "spectrum with the source off; battery supply"),
    ("F42", "oscillation", Sight.NOISE, "a tone without any input at high gain",
     "stability of the last amplifier: load, decoupling", "spectrum with the input terminated"),
    ("F43", "bandwidth-falls-with-gain", Sight.FREQUENCY, "loss at high frequency that grows with the gain",
     "amplifier and capacitors of the gain stage", "ratio of gains at two frequencies, against gain"),
    ("F44", "slow-settling", Sight.BOTH_WAYS, "up and down differ, depends on the wait",
     "dielectric and thermal tails of the gain stage", "one setting after three waits"),
    ("F45", "intermittent-joint", Sight.GAIN, "rare jumps, up to no gain at all",
     "solder joints and cracked parts of the signal path", "repeat the setting; flex the board, ramp its temperature"),
    ("F46", "channel-crosstalk", Sight.CROSSTALK, "the frequency of another channel in the spectrum",
     "screening and grounding between channels", "another channel driven hard at another frequency"),
    ("F47", "supply-rail-low", Sight.CLIP, "clips early on one side, right at low level", "supply rails",
     "clip level of each polarity; rail voltages"),
    ("F48", "leaky-clamp", Sight.POLARITY, "gain depends on level and polarity; even harmonics", "protection diodes",
     "steady levels of both polarities; a larger source resistance doubles it"),
    ("F49", "coupling-capacitor-wrong", Sight.LOW_FREQUENCY, "droop at low frequency", "coupling capacitors",
     "ratio of gains at 20 Hz and 1 kHz"),
    ("F50", "input-resistor-wrong", Sight.RESISTANCE, "right from a low source resistance, off from a high one",
     "input resistor, input termination", "repeat through 50 kΩ"),
    ("F51", "calibration-of-another-unit", Sight.GAIN, "one percentage per range without an analog cause",
     "stored gain constants: their serial number", "raw codes against displayed volts"),
    ("F52", "scale-row-wrong", Sight.GAIN, "one setting off, words and neighbours right", "table of displayed scales",
     "raw codes against displayed volts at that setting"),
)  # fmt: skip
