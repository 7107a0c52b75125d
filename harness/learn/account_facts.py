"""The story of a learned device in sentences, each with how sure it is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from harness.config import SettingsFile
from harness.learn.explain import Explained, Moves
from harness.learn.readings import Gathered
from harness.learn.write import Rule
from harness.learn.write.correction_keys import told_corrections
from harness.learn.write.draft import NOT_HEARD
from harness.values import SPACING_LIMIT, LearnedFact, Realness

KNOWN, LIKELY, GUESSED, UNKNOWN = "known", "likely", "guessed", "unknown"
MOST_NAMED = 4
MOST_SPACINGS = 12


def facts(gathered: Gathered, explained: Explained, rule: Rule, settings: SettingsFile) -> Iterator[LearnedFact]:
    """What is known, likely, guessed, unknown.

    Args:
        gathered: what was seen.
        explained: what it means.
        rule: of the firmware.
        settings: what was known from outside.
    Yields:
        sentences, surest first inside each subject.
    Source:
        none: the same content.
    """
    yield from _words(explained, rule)
    yield from _path(explained, rule, settings)
    yield from _ranges(explained, settings)
    yield from _realness(explained, settings, waves=bool(gathered.waves))
    if gathered.spacings_v:
        steps = [f"{settings.range_names[coarse]} {step:.4g} V" for coarse, step in gathered.spacings_v.items()]
        shown = ", ".join(steps[:MOST_SPACINGS]) + (", ..." if len(steps) > MOST_SPACINGS else "")
        text = "Records came as scaled volts; the code behind them is the spacing that all values of a record share"
        noise = "" if gathered.noise_code is None else f"; noise {gathered.noise_code:.2g} codes rms"
        yield _fact(LIKELY, f"{text}: {shown}{noise}.")
        yield _fact(UNKNOWN, f"What scaled volts do not tell of that spacing: {SPACING_LIMIT}.")
    for what, missing in (("gain", gathered.unread), ("whole word", gathered.unheard)):
        if missing:
            named = "; ".join(f"{settings.label(setting)} ({why})" for setting, why in missing[:MOST_NAMED])
            more = "" if len(missing) <= MOST_NAMED else " and others"
            yield _fact(UNKNOWN, f"{len(missing)} settings have no {what}: {named}{more}")


def _fact(sure: str, text: str) -> LearnedFact:
    return LearnedFact(sure=sure, text=text)


def _words(explained: Explained, rule: Rule) -> Iterator[LearnedFact]:
    if not explained.by_words:
        yield _fact(UNKNOWN, "No word was seen: which bits make the gain, and what the firmware sends, is not known.")
        return
    never = explained.movement.places(Moves.NEVER)
    if never:
        places = ", ".join(map(str, never))
        yield _fact(UNKNOWN, f"Bits {places} never moved: these settings do not exercise them.")
    if rule.draft.bus_sure == NOT_HEARD:
        yield _fact(UNKNOWN, "No line was heard: which wire is data, clock or latch, and on which edge it acts.")
    if rule.seen == 0:
        yield _fact(GUESSED, "Words were loaded; no firmware was seen to choose one.")
    elif rule.right == rule.seen and not rule.computes:
        yield _fact(KNOWN, f"The file lists the code of each setting as it was seen: all {rule.seen} words.")
        yield _fact(UNKNOWN, "How the firmware comes by its codes: no rule that computes them sends all words.")
    elif rule.right == rule.seen:
        yield _fact(KNOWN, f"The firmware's rule is {rule.firmware['rule']}: it sends all {rule.seen} words seen.")
    else:
        wrong = ", ".join(rule.wrong[:MOST_NAMED])
        sent = f"sends {rule.right} of {rule.seen} words seen; not those of {wrong}"
        yield _fact(GUESSED, f"The rule {rule.firmware['rule']} {sent}")


def _path(explained: Explained, rule: Rule, settings: SettingsFile) -> Iterator[LearnedFact]:
    for part in rule.draft.stages:
        note = "; ".join(part.notes[:1]) or "from the gains"
        yield _fact(part.sure, f"{str(part.keys['name']).capitalize()} ({part.keys['kind']}): {note}.")
    yield from _corrections(explained, settings)
    yield _fact(UNKNOWN, "The order of the stages: gains alone do not tell it.")
    law = explained.law
    if law is None:
        return
    field = law.hypothesis.field
    codes = field.codes(explained.seen.bits[explained.seen.measured])
    if explained.by_words and (codes.min() > 0 or codes.max() < 2**field.bits - 1):
        yield _fact(
            UNKNOWN, f"What codes below {codes.min()} and above {codes.max()} do: the law was not seen there."
        )


def _corrections(explained: Explained, settings: SettingsFile) -> Iterator[LearnedFact]:
    """What the residuals asked for, and what was looked for beside it."""
    for told in told_corrections(explained, settings.range_names):
        yield _fact(told.sure, f"{told.text[:1].upper()}{told.text[1:]}.")
    found = explained.corrected
    if found is None:
        return
    if found.refused:
        further = "further correction" if found.steps else "correction"
        yield _fact(LIKELY, f"No {further} of the law: {found.refused}.")
    yield _fact(UNKNOWN, "A pole at one frequency for all gains: at one test frequency it looks like the law's scale.")


def _ranges(explained: Explained, settings: SettingsFile) -> Iterator[LearnedFact]:
    """Pairs of ranges with the same words; the evidence of each stands in `alike`."""
    told = {
        LIKELY: "have the same words and other gains, by hardware that no word shows",
        KNOWN: "have the same words and other gains, by arithmetic",
        UNKNOWN: "have the same words and other gains: hardware that no word shows, or arithmetic",
    }
    pairs: dict[str, dict[str, None]] = {}
    for name, why in alike(explained, settings):
        sure = LIKELY if "by something" in why else UNKNOWN if "hardware that no word shows, or" in why else KNOWN
        pairs.setdefault(sure, {})[name] = None
    for sure, names in pairs.items():
        yield _fact(sure, f"{'; '.join(names)}: {told[sure]}.")


def alike(explained: Explained, settings: SettingsFile) -> Iterator[tuple[str, str]]:
    """Ranges with the same words, each pair once.

    Args:
        explained: any.
        settings: for the names.
    Yields:
        the pair, and what tells it apart: of the first channel that shows it.
    Source:
        none: the same content.
    """
    told: set[tuple[int, int]] = set()
    for lower, upper, why in explained.alike:
        if (lower, upper) not in told:
            told.add((lower, upper))
            yield f"{settings.range_names[lower]} and {settings.range_names[upper]}", why


def _realness(explained: Explained, settings: SettingsFile, *, waves: bool) -> Iterator[LearnedFact]:
    counts = Counter(part.realness for part in explained.parts)
    for realness in (Realness.ARITHMETIC, Realness.MIXED):
        if counts[realness]:
            names = dict.fromkeys(
                settings.range_names[setting.coarse]
                for part, setting in zip(explained.parts, explained.seen.settings, strict=True)
                if part.realness is realness
            )
            yield _fact(KNOWN, f"{counts[realness]} settings are {realness}, in {', '.join(names)}.")
    if counts[Realness.UNPROVEN]:
        yield _fact(UNKNOWN, f"{counts[Realness.UNPROVEN]} settings are hardware or arithmetic: unproven.")
    if not waves:
        yield _fact(UNKNOWN, "No record was seen: nothing can be said of hardware or arithmetic by the waveform.")
