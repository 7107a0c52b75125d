"""The dictionary: what each fault would do to the readings of one channel, from the law alone."""

from __future__ import annotations

from collections.abc import Iterator

from harness.diagnosis.dictionary.blocks import block_hypotheses
from harness.diagnosis.dictionary.contacts import contact_hypotheses
from harness.diagnosis.dictionary.frozen import frozen_hypotheses
from harness.diagnosis.dictionary.order import order_hypotheses
from harness.diagnosis.dictionary.relays import relay_hypotheses
from harness.diagnosis.dictionary.unchanged import unchanged_hypotheses
from harness.diagnosis.dictionary.weights import weight_hypotheses
from harness.diagnosis.dictionary.word_faults import word_hypotheses
from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.view import View

__all__ = ["hypotheses"]


def hypotheses(view: View) -> Iterator[Hypothesis]:
    """Every entry of the dictionary for one channel.

    Args:
        view: of the channel.
    Returns:
        entries, those of one pattern side by side with their priors.
    Source:
        signatures of single faults (common practice, no source); patterns by the law.
    """
    yield from word_hypotheses(view)
    yield from frozen_hypotheses(view)
    yield from relay_hypotheses(view)
    yield from block_hypotheses(view)
    yield from weight_hypotheses(view)
    yield from order_hypotheses(view)
    yield from contact_hypotheses(view)
    yield from unchanged_hypotheses(view)
