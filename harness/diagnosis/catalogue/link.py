"""Known faults of instruments, links, host and data; the code of an INVALID reading points to them."""

from __future__ import annotations

from typing import Final

from harness.diagnosis.catalogue.entry import Sight, rows

CABLE = "cable and port of the instrument"
INSTRUMENT = "settings and firmware of the instrument"

LINK: Final = rows(
    ("I01", "reply-late", Sight.LINK, "an answer behind its deadline", CABLE, "a query with a unique answer"),
    ("I02", "reply-missing", Sight.LINK, "no answer, the link lives", CABLE, "identify the instrument again"),
    ("I03", "block-truncated", Sight.LINK, "fewer bytes than announced", CABLE, "read the block again"),
    ("I04", "block-header-wrong", Sight.LINK, "a block without a readable header", INSTRUMENT, "read the block again"),
    ("I05", "byte-order-wrong", Sight.LINK, "samples near full scale that are no sine", INSTRUMENT,
     "read back the byte order"),
    ("I06", "not-a-number-value", Sight.LINK, "values that are no numbers", INSTRUMENT, "read the value again"),
    ("I07", "infinity-value", Sight.LINK, "values beyond every range", INSTRUMENT, "a lower level"),
    ("I08", "error-queue-overflow", Sight.LINK, "the error queue overflows", INSTRUMENT, "drain it, read back all"),
    ("I09", "command-rejected", Sight.LINK, "a command in the error queue", INSTRUMENT, "read back the setting"),
    ("I10", "setting-coerced", Sight.LINK, "another value reads back than was set", INSTRUMENT, "read it back"),
    ("I11", "complete-flag-early", Sight.LINK, "the first reading after a change is off", INSTRUMENT, "a longer wait"),
    ("I12", "preamble-stale", Sight.LINK, "volts wrong by a range, codes right", INSTRUMENT, "fetch scale and record"),
    ("I13", "reply-garbled", Sight.LINK, "answers that fit no pattern", CABLE, "speed and screening of the line"),
    ("I14", "link-closed-by-peer", Sight.LINK, "the link ends", CABLE, "reopen and identify"),
    ("I15", "link-deaf", Sight.LINK, "writing blocks", CABLE, "reopen and identify"),
    ("I16", "port-renamed", Sight.LINK, "the port is gone", CABLE, "find the serial number at another port"),
    ("I17", "wrong-instrument", Sight.LINK, "another identity at the address", "addresses on the bench", "its serial"),
    ("I18", "control-lines-pulsed", Sight.LINK, "one unexplained frame at open", "modem lines of the port",
     "open the port with the lines disconnected"),
    ("I19", "two-owners", Sight.LINK, "answers to questions nobody asked", "other programs on this host",
     "who holds the lock"),
    ("I20", "capture-incomplete", Sight.WORDS, "gain right, frames missing", "trigger and memory of the adapter",
     "drop counter of the adapter"),
    ("I21", "disk-full", Sight.HOST, "the record cannot grow", "disk of the host", "free space"),
    ("I22", "power-cut-before-acknowledge", Sight.HOST, "a reading more or less than was told", "power of the host",
     "journal against record"),
    ("I23", "process-killed", Sight.HOST, "readings end, source found on", "the host's process table", "resume"),
    ("I24", "host-asleep", Sight.HOST, "a gap in time", "power settings of the host", "both clocks"),
    ("I25", "clock-stepped", Sight.HOST, "wall clock out of order", "time service of the host", "both clocks"),
    ("I26", "plant-network-lost", Sight.HOST, "records wait to be forwarded", "plant network", "length of the queue"),
    ("I27", "store-locked", Sight.HOST, "the record cannot be written for a while", "who else uses the store", "wait"),
    ("I28", "operator-interrupt", Sight.HOST, "readings end by request", "nothing is broken", "resume"),
)  # fmt: skip
