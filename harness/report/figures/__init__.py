"""Figures of the page, as inline SVG."""

from harness.report.figures.at_input import at_input_svg
from harness.report.figures.bits import bits_svg
from harness.report.figures.closer import codes_svg, courses_svg, residual_record_svg
from harness.report.figures.gross import gross_svg
from harness.report.figures.heat import heat_grids
from harness.report.figures.noise import noise_svg
from harness.report.figures.offset import offset_svg
from harness.report.figures.others import Strip, other_strips, parameter_strips
from harness.report.figures.realness import realness_grids
from harness.report.figures.residual import has_fitted_row, residual_svg
from harness.report.figures.steps import steps_svg
from harness.report.figures.updown import updown_svg

__all__ = [
    "Strip",
    "at_input_svg",
    "bits_svg",
    "codes_svg",
    "courses_svg",
    "gross_svg",
    "has_fitted_row",
    "heat_grids",
    "noise_svg",
    "offset_svg",
    "other_strips",
    "parameter_strips",
    "realness_grids",
    "residual_record_svg",
    "residual_svg",
    "steps_svg",
    "updown_svg",
]
