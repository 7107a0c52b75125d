"""Short ladders: few settings that show every fault of the dictionary and predict all other settings."""

from harness.ladder.short.plan import ShortLadder, Shown, shorten
from harness.ladder.short.prediction import READING_PERCENT

__all__ = ["READING_PERCENT", "ShortLadder", "Shown", "shorten"]
