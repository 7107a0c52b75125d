"""The figures behind the first ones: gross shape, words bit by bit, up against down, parameters, all other claims."""

from __future__ import annotations

from dataclasses import dataclass

from harness.report import figures
from harness.report.figures import Strip
from harness.report.labels import labels_of
from harness.values import RunDetail, RunResult


@dataclass(frozen=True, slots=True, kw_only=True)
class FurtherFigures:
    """Each empty where the run has nothing to draw."""

    gross: str
    words: str
    words_alike: bool
    """Words were captured, and each is the one commanded."""
    updown: str
    parameters: tuple[Strip, ...]
    others: tuple[Strip, ...]
    codes: str
    record: tuple[str, ...]
    courses: tuple[str, ...]


def further_figures(result: RunResult, detail: RunDetail) -> FurtherFigures:
    """The figures behind the first ones.

    Args:
        result: of a run.
        detail: of its records and its time.
    Returns:
        all of them.
    """
    words = figures.bits_svg(result)
    return FurtherFigures(
        gross=figures.gross_svg(result),
        words=words,
        words_alike=not words and any(row.captured_words for row in result.settings),
        updown=figures.updown_svg(result),
        parameters=figures.parameter_strips(result),
        others=figures.other_strips(result, labels_of(result)),
        codes=figures.codes_svg(detail.codes),
        record=figures.residual_record_svg(detail.record),
        courses=figures.courses_svg(detail.courses),
    )
