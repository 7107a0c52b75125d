"""Numbers in words, checked by hand."""

import pytest

from harness.report import words
from harness.values import Outcome


@pytest.mark.parametrize(
    ("value", "digits", "signed", "text"),
    [
        (0.1234, 2, True, "+0.12 %"),
        (-6.0, 2, True, "−6.00 %"),
        (-0.001, 2, True, "0.00 %"),
        (72.4, 0, False, "72 %"),
        (None, 2, True, "–"),
    ],
)
def test_percent(value: float | None, digits: int, signed: bool, text: str) -> None:
    assert words.percent(value, digits=digits, signed=signed) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (7.0711, "7.071 V"),
        (1.0, "1.000 V"),
        (0.99996, "1.000 V"),
        (0.070711, "70.71 mV"),
        (0.00099996, "1.000 mV"),
        (0.000707, "707.0 µV"),
        (0.0, "0.000 V"),
        (-2.5, "−2.500 V"),
        (None, "–"),
    ],
)
def test_volts(value: float | None, text: str) -> None:
    assert words.volts(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(204.8, "204.80"), (204800.0, "204800"), (4567890.0, "4567890"), (0.97688, "0.97688"), (None, "–")],
)
def test_significant(value: float | None, text: str) -> None:
    assert words.significant(value) == text


def test_plain_replaces_only_what_no_file_may_hold() -> None:
    assert words.plain("a\x00b\x1bc\ud800d\ufffee") == "a\ufffdb\ufffdc\ufffdd\ufffde"
    assert words.plain("µ\t–\n𝄞") == "µ\t–\n𝄞"


def test_lists_counts_moments() -> None:
    assert [words.listed(names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
    assert (words.count(1, "setting"), words.count(0, "step")) == ("1 setting", "0 steps")
    assert words.moment("2026-11-25T09:59:57.123456Z") == "2026-11-25 09:59:57 UTC"
    assert words.moment("yesterday") == "yesterday"


def test_worst_of_follows_the_precedence_of_outcomes() -> None:
    everything = list(Outcome)
    seen = []
    while everything:
        worst = words.worst_of(everything)
        seen.append(worst)
        everything.remove(worst)
    assert seen == [Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE, Outcome.PASS]
    assert words.worst_of([]) is None


def test_limits() -> None:
    assert words.limits(-2.0, 2.0, unit="percent") == "−2 % to +2 %"
    assert words.limits(-0.7, None, unit="codes") == "at least −0.7 codes"
    assert words.limits(None, 1.5, unit="percent") == "at most +1.5 %"
    assert words.limits(-3.5, 3.5, unit="percent of span") == "−3.5 to +3.5 % of span"
    assert words.limits(None, None, unit="") == ""


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.2466, "percent", "0.25 %"),
        (0.0996, "percent", "0.10 %"),
        (0.00090964, "percent of span", "0.00091 % of span"),
        (0.8165, "ns", "0.82 ns"),
        (9.96, "ns", "10 ns"),
        (1234.0, "codes", "1200 codes"),
        (2e-16, "percent", "< 0.00001 %"),
        (0.0, "", "< 0.00001"),
    ],
)
def test_an_uncertainty_has_two_figures(value: float, unit: str, text: str) -> None:
    assert words.doubt(value, unit) == text


def test_a_reason_is_told_as_its_numbers_are() -> None:
    reason = "gain off by -40.9 percent (×0.6646), allowed -2 to +2 percent; at 1e-05 V on latch-2, 2026-11-25"
    assert words.told(reason) == (
        "gain off by −40.9 % (×0.6646), allowed −2 to +2 %; at 1e-05 V on latch-2, 2026-11-25"
    )


@pytest.mark.parametrize(
    ("value", "text"), [(4.06, "4.1"), (9.94, "9.9"), (9.96, "10"), (12.4, "12"), (0.3, "0.3"), (None, "–")]
)
def test_ratio(value: float | None, text: str) -> None:
    assert words.ratio(value) == text


def test_span() -> None:
    assert (words.span("1.0", "1.2"), words.span("1.0", "1.0")) == ("1.0 to 1.2", "1.0")
