"""Sizes to inject for each fault: one that must not show, one at the threshold, one that must be found.

Calculated for the reference set-up of this project (8-bit code, 160 settings up and down, 10 000 samples, limits of 2 %
on the gain, 0.5 % on the residual, 0.3 % on a step); realistic sizes are common practice, no source. The full table in
words is tests/faults/fault_list.csv. First values: a threshold gives way to the smallest size that is really detected.
T1 and T2: the benches here are not terminated; the loads make the errors (0.5 %, 1 %, factor 2) that the table has for
50 ohm. F46: here the channels at rest hang on the same source as the one that is read, and what they couple adds up;
two of them at these sizes make the errors (0.5 %, 1 %, 3.2 %) that the table has for one channel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """What goes behind the name of a fault."""

    kind: Literal["E", "S", "P"]
    """E: an effect with a number; S: structural, there or not; P: a probability for each event."""
    below: str | None
    """None: no fault of that size exists; a ladder that does not exercise it takes its place."""
    at: str | None
    above: str | None
    """None: cannot be injected yet."""

    def words(self) -> str:
        """For a list."""
        named = (("below", self.below), ("at", self.at), ("above its threshold", self.above))
        return ", ".join(f"{name} {text or 'bare'}" for name, text in named if text is not None)


def _sizes(kind: Literal["E", "S", "P"], below: str | None, at: str | None, above: str | None) -> Sizes:
    return Sizes(kind=kind, below=below, at=at, above=above)


SIZES: Final[dict[str, Sizes]] = {
    "F01": _sizes("S", None, "=0", "=4"),
    "F02": _sizes("S", None, "=0", "=4"),
    "F03": _sizes("S", None, "=0,1", "=6,7"),
    "F04": _sizes("S", None, "=0,1", "=6,7"),
    "F05": _sizes("S", None, None, ""),
    "F06": _sizes("S", None, None, ""),
    "F07": _sizes("P", "=1e-5", "=2.2e-3", "=1.5e-2"),
    "F08": _sizes("S", None, None, ""),
    "F09": _sizes("S", None, None, ""),
    "F10": _sizes("S", None, None, ""),
    "F11": _sizes("S", None, None, ""),
    "F12": _sizes("S", None, "=1", "=8"),
    "F13": _sizes("S", None, None, ""),
    "F14": _sizes("S", None, None, ""),
    "F15": _sizes("S", "=0", "=1", ""),
    "F16": _sizes("P", "=5", "=0", "=-5"),
    "F17": _sizes("P", "=0.3", "=0", "=-0.3"),
    "F18": _sizes("S", "=0", "=1", "=16"),
    "F19": _sizes("S", None, None, ""),
    "F20": _sizes("S", None, None, "=1"),
    "F21": _sizes("S", None, None, "=1"),
    "F22": _sizes("S", None, None, "=1"),
    "F23": _sizes("E", "=0.03", "=0.06", "=0.30"),
    "F24": _sizes("S", None, None, ""),
    "F25": _sizes("E", "=0.10", "=0.133", "=0.20"),
    "F26": _sizes("E", "=0.5", "=1.0", "=2.0"),
    "F27": _sizes("E", "=1.0", "=2.0", "=5.0"),
    "F28": _sizes("S", None, None, "=0"),
    "F29": _sizes("E", "=0.5", "=1.0", "=2.0"),
    "F30": _sizes("E", "=1.01", "=1.02", "=2.0"),
    "F31": _sizes("E", "=0.46,4", "=0.92,4", "=1.84,4"),
    "F32": _sizes("E", "=0.15", "=0.30", "=0.60"),
    "F33": _sizes("E", "=1.0", "=2.0", "=4.0"),
    "F34": _sizes("E", "=1.0,-50", "=2.0,-100", "=20,-300"),
    "F35": _sizes("E", "=1.0,0.15", "=2.0,0.30", "=4.0,0.60"),
    "F36": _sizes("E", "=-50", "=-100", "=-3300"),
    "F37": _sizes("E", "=-0.15", "=-0.30", "=-1.0"),
    "F38": _sizes("E", "=2.5", "=5", "=15"),
    "F39": _sizes("E", "=2.5", "=5", "=15"),
    "F40": _sizes("E", "=1.2", "=1.5", "=3"),
    "F41": _sizes("E", "=-66", "=-60", "=-40"),
    "F42": _sizes("E", "=-66", "=-60", "=-20"),
    "F43": _sizes("E", "=0.14", "=0.203", "=0.50"),
    "F44": _sizes("E", "=0.15", "=0.30", "=0.60"),
    "F45": _sizes("P", "=1e-5", "=2.2e-3", "=1.5e-2"),
    "F46": _sizes("E", "=-52", "=-46", "=-36"),
    "F47": _sizes("E", "=2.5", "=5", "=20"),
    "F48": _sizes("E", "=0.15", "=0.30", "=2.0"),
    "F49": _sizes("E", "=2.85", "=4.05", "=10"),
    "F50": _sizes("E", "=5", "=11.7", "=1e6"),
    "F51": _sizes("E", "=0.27", "=0.54", "=1.1"),
    "F52": _sizes("E", "=0.15", "=0.30", "=5"),
    "F53": _sizes("S", "=0", "=1", "=8"),
    "F54": _sizes("S", "=0", "=1", "=3"),
    "F55": _sizes("E", "=1.0", "=2.0", "=4.0"),
    "F56": _sizes("E", None, None, ""),
    "F57": _sizes("E", "=0.15", "=0.30", ""),
    "T1": _sizes("E", "=9950", "=4950", ""),
    "T2": _sizes("E", "=9950", "=4950", "=50"),
    "T3": _sizes("E", "=0.04", "=0.087", "=0.5"),
    "T4": _sizes("S", "=1", "=1.01", "=2.828"),
    "T5": _sizes("S", "=1", "=1.01", "=10"),
    "T6": _sizes("E", "=10", "=7.5", "=5"),
    "T7": _sizes("S", "=1", "=2", "=8"),
    "T8": _sizes("S", None, None, ""),
    "T9": _sizes("S", None, None, ""),
    "T10": _sizes("S", None, None, ""),
    "T11": _sizes("E", "=0.07", "=0.15", "=0.5"),
    "T12": _sizes("E", "=0.03", "=0.06", "=0.30"),
    "I01": _sizes("E", "=0.5", "=1.0", "=2.0"),
    "I02": _sizes("S", "=0", "=1", "=4"),
    "I03": _sizes("S", "=0", "=1", ""),
    "I04": _sizes("S", "=0", "=1", "=1000"),
    "I05": _sizes("S", "=0", "=1", "=1000"),
    "I06": _sizes("S", "=0", "=1", "=1000"),
    "I07": _sizes("S", "=0", "=1", "=1000"),
    "I08": _sizes("S", "=0", "=20", "=21"),
    "I09": _sizes("S", "=0", "=1", "=1000"),
    "I10": _sizes("E", "=0.25", "=0.5", "=2"),
    "I11": _sizes("E", "=0", "=0.25", "=0.5"),
    "I12": _sizes("S", "=0", "=1", "=1000"),
    "I13": _sizes("P", "=1e-8", "=2e-6", "=1e-3"),
    "I14": _sizes("S", None, "=0", "=1000"),
    "I15": _sizes("E", "=0.5", "=1.0", "=1000"),
    "I16": _sizes("S", None, "=1", "=2"),
    "I17": _sizes("S", "=0", "=1", "=1000"),
    "I18": _sizes("S", None, "=1", "=2"),
    "I19": _sizes("S", "=0", "=1", "=1000"),
    "I20": _sizes("S", "=0", "=1", "=1000"),
    "I21": _sizes("E", None, None, ""),
    "I22": _sizes("S", None, "=1", "=2"),
    "I23": _sizes("S", None, "=1", "=2"),
    "I24": _sizes("E", "=0.5", "=5", "=300"),
    "I25": _sizes("E", "=0.5", "=5", "=-3600"),
    "I26": _sizes("E", "=60", "=86400", "=90000"),
    "I27": _sizes("E", "=0.1", "=30", "=1e6"),
    "I28": _sizes("S", None, "=1", "=2"),
}
