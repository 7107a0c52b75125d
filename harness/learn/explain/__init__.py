"""From words, gains and records to an explanation; everything in here is pure."""

from harness.learn.explain.arithmetic import Part, Waves, arithmetic_parts, nice
from harness.learn.explain.code_field import CodeField
from harness.learn.explain.competition import Ranked
from harness.learn.explain.explain import Explained, explain
from harness.learn.explain.movement import Movement, Moves, movement_of
from harness.learn.explain.observed import Observed, Seen, Segment, gather
from harness.learn.explain.ranges import RangeStates
from harness.learn.explain.shapes import Shape

__all__ = [
    "CodeField",
    "Explained",
    "Movement",
    "Moves",
    "Observed",
    "Part",
    "RangeStates",
    "Ranked",
    "Seen",
    "Segment",
    "Shape",
    "Waves",
    "arithmetic_parts",
    "explain",
    "gather",
    "movement_of",
    "nice",
]
