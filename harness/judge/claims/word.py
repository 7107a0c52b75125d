"""Claim: exactly the planned words were latched."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_claim
from harness.judge.rows import Gathered
from harness.values import Judgement, Outcome


def word_claim(gathered: Gathered) -> Judgement:
    """Whether exactly the planned words were latched, in every gain device, at every reading of the setting.

    Args:
        gathered: the setting's readings; their captures were taken.
    Returns:
        PASS, FAIL with the words seen or what came with one, or INVALID where a capture is missing or incomplete.
    Source:
        common practice, no source: the expected word is compared only after the decoder has decided; clock edges and
        latches are counted, for a word that is right by chance came wrong all the same.
    """
    prediction = gathered.prediction
    expected = (prediction.state.word, *prediction.state.more)
    captured = [m.captured for m in gathered.final if m.captured is not None]
    pairs = [pair for c in captured for pair in zip((c, *c.more), expected, strict=False)]
    off = [(c, word) for c, word in pairs if c.sound and (c.value != word.value or c.surplus)]
    wrong = sorted({f"{c.text}; planned {word}" for c, word in off})
    missing = sorted({c.text for c in captured if not c.sound})
    setting = prediction.setting
    if wrong:
        reason = f"{prediction.label}: word {', '.join(wrong)}"
        return judge_claim("word", Outcome.FAIL, reason, setting=setting)
    if missing or not captured:
        reason = f"{prediction.label}: no word: {', '.join(missing) or 'nothing was captured'}"
        return judge_claim("word", Outcome.INVALID, reason, setting=setting)
    return judge_claim("word", Outcome.PASS, "", setting=setting)


def _judge(context: Context) -> tuple[Judgement, ...]:
    if not context.captured:
        return ()
    return tuple(
        word_claim(item)
        for setting, item in context.gathered.items()
        if item.final and context.limit("word", setting) is not None
    )


WORD = ClaimKind(
    item="word", unit="", scope=Scope.SETTING, needs=frozenset({Need.WORDS}), judge=_judge, provisional=True
)
