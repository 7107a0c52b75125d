"""Known faults of the control path: words, clocks, latches."""

from __future__ import annotations

from typing import Final

from harness.diagnosis.catalogue.entry import Sight, rows

PINS = "data inputs of the gain device: solder, open pin, short to a rail"
LATCH = "latch line from the controller to the gain device"
FIRMWARE = "firmware: table of words, order and length of a transfer"

CONTROL: Final = rows(
    ("F01", "data-bit-stuck-low", Sight.GAIN, "gain lacks exactly one bit's weight wherever that bit is set", PINS,
     "walk a single one through the code; level at that data input"),
    ("F02", "data-bit-stuck-high", Sight.GAIN, "gain has one bit's weight too much wherever that bit is clear", PINS,
     "walk a single zero through the code; level at that data input"),
    ("F03", "data-bits-swapped", Sight.GAIN, "gain wrong with both signs where two bits differ, right where equal",
     "routing of the two data bits; firmware's layout of the word", "codes with only one of the two bits set"),
    ("F04", "data-bits-shorted", Sight.GAIN, "gain wrong with one sign where exactly one of two bits is set",
     "bridge between two data inputs", "level of both inputs with only one bit set; supply current"),
    ("F05", "data-line-stuck", Sight.GAIN, "one word for ever, all zeros or all ones",
     "data line from the controller to the gain device", "edges on the data line while words change"),
    ("F06", "clock-line-dead", Sight.GAIN, "latch pulses without clock edges, gain frozen",
     "clock line and its series resistor", "count clock edges at the gain device"),
    ("F07", "extra-clock-edge", Sight.GAIN, "codes shifted by one bit, now and then or always",
     "clock line: termination, ringing, cross-talk from the latch", "count clock edges at two thresholds"),
    ("F08", "wrong-clock-edge", Sight.GAIN, "words shifted by one bit, the first bit is what data was before",
     "clock polarity and phase in the firmware", "write one word twice: both frames must decode alike"),
    ("F09", "bit-order-reversed", Sight.GAIN, "mirrored words; only words that read alike both ways are right",
     FIRMWARE, "one word with a single bit set"),
    ("F10", "latch-missing", Sight.GAIN, "right bits without a latch edge, gain frozen over all fine steps", LATCH,
     "look for the latch edge at the pin of the gain device"),
    ("F11", "latch-one-frame-late", Sight.GAIN, "each gain is that of the word before; the sign turns with the sweep",
     FIRMWARE, "write one word twice, then read; reverse a pair of settings"),
    ("F12", "latch-transparent", Sight.BUS, "right gain, clock edges while the latch is active", LATCH,
     "record the output while a word is shifted"),
    ("F13", "latches-crossed", Sight.CHANNELS, "a channel follows the words of another one",
     "latch lines of the two channels", "different words in all channels, then change one of them"),
    ("F14", "latch-broadcast", Sight.CHANNELS, "a channel moves when only another one is written",
     "bridge between latch lines; address bits", "write one channel, read the other one"),
    ("F15", "word-polarity-inverted", Sight.GAIN, "inverted bits in every code, steps may go the other way",
     "inverter in the data line; firmware's coding", "lowest and highest code"),
    ("F16", "setup-hold-marginal", Sight.BUS, "rare single-bit errors, more of them warm or at low supply",
     "timing of data against clock: series resistors, cable, firmware delay", "set-up and hold times against supply"),
    ("F17", "logic-level-weak", Sight.BUS, "rare single-bit errors, high level near its threshold",
     "pull-up and supply of the logic", "decode the same frames at the low and at the high threshold"),
    ("F18", "word-table-row-wrong", Sight.WORDS, "a well formed wrong word in single settings, gain follows it",
     FIRMWARE, "read that setting again: the same word returns"),
    ("F19", "register-reset-mid-run", Sight.GAIN, "gain jumps to its power-on value at a moment, not at a setting",
     "supply and reset line of the gain device", "write the setting again: that cures it"),
    ("F20", "chain-wrong-device", Sight.WORDS, "frames of a multiple of the word's length, words of another device",
     "daisy chain: devices fitted against devices expected", "count clock edges of a frame"),
)  # fmt: skip
