"""Numbers and names in words for people; the machine-readable files use none of this but `plain`."""

from __future__ import annotations

import functools
import math
import re

from harness.values import Outcome

NOTHING = "–"
"""What stands where there is no value."""

MINUS = "\N{MINUS SIGN}"
LEAST_V = 0.99995
"""From here up a level is written in V: what rounds to 1.000 is not 1000 mV."""

LONG_UNIT = 5
"""Letters; a longer unit stands once behind a pair of limits."""

LEAST_DOUBT = 1e-5
"""A smaller uncertainty is one of computing."""

SEVERITY = (Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE, Outcome.PASS)
"""The order in which outcomes are shown, the gravest first."""

_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def plain(text: str) -> str:
    """How a text reads that may hold anything an instrument sent.

    Args:
        text: any text.
    Returns:
        the text, with each character that no XML or UTF-8 file may hold replaced by U+FFFD.
    """
    return _FORBIDDEN.sub("\N{REPLACEMENT CHARACTER}", text)


def percent(value_percent: float | None, *, digits: int = 2, signed: bool = True) -> str:
    """How a number in percent reads.

    Args:
        value_percent: percent; None where there is none.
        digits: decimals.
        signed: whether a plus is written.
    Returns:
        such as `+0.12 %`; a dash for None.
    """
    return NOTHING if value_percent is None else f"{decimal(value_percent, digits=digits, signed=signed)} %"


def quantity(value: float | None, unit: str, *, signed: bool = False) -> str:
    """How a number of any unit reads.

    Args:
        value: in `unit`; None where there is none.
        unit: `percent` becomes the sign; may be empty.
        signed: whether a plus is written.
    Returns:
        such as `+0.123 %`, `1.23e-05 V`; a dash for None.
    """
    if value is None:
        return NOTHING
    text = decimal(value, digits=3, signed=signed) if unit == "percent" else f"{value:{'+' if signed else ''}.4g}"
    return f"{text.replace('-', MINUS)} {sign(unit)}".rstrip()


def sign(unit: str) -> str:
    """How a unit reads.

    Args:
        unit: such as `percent of span`; may be empty.
    Returns:
        such as `% of span`.
    """
    return re.sub(r"\bpercent\b", "%", unit)


def doubt(expanded: float, unit: str) -> str:
    """How an expanded uncertainty reads.

    Args:
        expanded: in `unit`, not negative.
        unit: as `sign` takes it.
    Returns:
        two significant figures, such as `0.25 %`, never with an exponent; one too small to print is a bound.
    """
    if expanded < LEAST_DOUBT:
        return f"< {LEAST_DOUBT:.5f} {sign(unit)}".rstrip()
    rounded = float(f"{expanded:.1e}")
    digits = 1 - math.floor(math.log10(rounded))
    number = f"{rounded:.{max(digits, 0)}f}"
    return f"{number} {sign(unit)}".rstrip()


def told(reason: str) -> str:
    """How a reason reads on a page.

    Args:
        reason: as it was recorded.
    Returns:
        the same with `%` and minus signs, as all numbers about it are written.
    """
    return re.sub(r"(?<![\w.)])-(?=\d)", MINUS, re.sub(r"(?<=\d) percent\b", " %", reason))


def decimal(value: float | None, *, digits: int = 2, signed: bool = False) -> str:
    """How a number reads with fixed decimals.

    Args:
        value: the number, its unit is the column's; None where there is none.
        digits: decimals.
        signed: whether a plus is written.
    Returns:
        such as `1.20`, with a minus sign as wide as a plus; a dash for None.
    """
    if value is None:
        return NOTHING
    text = f"{value:+.{digits}f}" if signed else f"{value:.{digits}f}"
    if not text.strip("+-0."):
        text = text.lstrip("+-")
    return text.replace("-", MINUS)


def significant(value: float | None, *, figures: int = 5) -> str:
    """How a number of any size reads.

    Args:
        value: the number, its unit is the column's; None where there is none.
        figures: significant figures.
    Returns:
        such as `204.80` or `204800`, never with an exponent from 1e-4 up; a dash for None.
    """
    if value is None:
        return NOTHING
    text = f"{value:#.{figures}g}"
    if "e" in text and abs(value) >= 1.0:
        text = f"{value:.0f}"
    return text.rstrip(".").replace("-", MINUS)


def volts(level_v: float | None) -> str:
    """How a level reads.

    Args:
        level_v: volts; None where there is none.
    Returns:
        four figures in V, mV or µV, such as `70.71 mV`; a dash for None.
    """
    if level_v is None:
        return NOTHING
    size_v = abs(level_v)
    if size_v >= LEAST_V or size_v == 0.0:
        factor, unit = 1.0, "V"
    else:
        factor, unit = (1e3, "mV") if size_v >= LEAST_V / 1e3 else (1e6, "µV")
    return f"{significant(level_v * factor, figures=4)} {unit}"


def count(number: int, noun: str) -> str:
    """How many of a thing, in words.

    Args:
        number: how many.
        noun: singular, with a regular plural.
    Returns:
        such as `1 setting`, `84 settings`.
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def listed(names: list[str]) -> str:
    """How a list of names reads in a sentence.

    Args:
        names: any number of names.
    Returns:
        such as `ch1`, `ch1 and ch2`, `ch1, ch2 and ch4`; empty for none.
    """
    return names[0] if len(names) == 1 else " and ".join([", ".join(names[:-1]), names[-1]]) if names else ""


def ratio(value_ratio: float | None) -> str:
    """How a test uncertainty ratio reads.

    Args:
        value_ratio: the ratio; None where there is none.
    Returns:
        such as `4.1`, `12`; a dash for None.
    """
    return decimal(value_ratio, digits=0 if value_ratio is not None and value_ratio >= 9.95 else 1)


def chance(probability_ratio: float) -> str:
    """How a probability near one reads.

    Args:
        probability_ratio: 0 to 1.
    Returns:
        such as `97.3 %`, `> 99.99 %`.
    """
    return (
        "> 99.99 %" if probability_ratio > 0.9999 else f"{100.0 * probability_ratio:.2f}".rstrip("0").rstrip(".") + " %"
    )


def span(lowest: str, highest: str) -> str:
    """How the ends of a span read.

    Args:
        lowest: as text.
        highest: as text.
    Returns:
        such as `0.41 to 0.53`, or one of them when they read alike.
    """
    return lowest if lowest == highest else f"{lowest} to {highest}"


def moment(utc: str) -> str:
    """How an ISO 8601 time in UTC reads.

    Args:
        utc: such as `2026-11-25T09:59:57.123Z`.
    Returns:
        such as `2026-11-25 09:59:57 UTC`; any other text unchanged.
    """
    match = re.match(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d:\d\d)", utc)
    return f"{match[1]} {match[2]} UTC" if match else utc


def worst_of(outcomes: list[Outcome]) -> Outcome | None:
    """The gravest of some outcomes, for a line that stands for many.

    Args:
        outcomes: any number of outcomes.
    Returns:
        the first of FAIL, INVALID, INCONCLUSIVE, PASS that occurs; None for none.
    """
    return next((outcome for outcome in SEVERITY if outcome in outcomes), None)


@functools.lru_cache(maxsize=4096)
def limits(low: float | None, high: float | None, *, unit: str) -> str:
    """How a pair of limits reads.

    Args:
        low: lower limit, in `unit`; None where there is none.
        high: upper limit, in `unit`; None where there is none.
        unit: `percent` becomes the sign.
    Returns:
        such as `−2 % to +2 %`, `at least −2 %`, `at most +2 %`; a long unit once; empty for none.
    """
    name = sign(unit)
    if low is not None and high is not None and len(name) > LONG_UNIT:
        return f"{low:+g} to {high:+g} {name}".replace("-", MINUS)
    shown = [f"{edge:+g} {name}".strip().replace("-", MINUS) for edge in (low, high) if edge is not None]
    if low is not None and high is not None:
        return " to ".join(shown)
    return "" if not shown else f"at {'least' if high is None else 'most'} {shown[0]}"
