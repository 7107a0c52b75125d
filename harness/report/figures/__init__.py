"""Figures of the page, as inline SVG."""

from harness.report.figures.heat import heat_grids
from harness.report.figures.realness import realness_grids
from harness.report.figures.residual import residual_svg
from harness.report.figures.steps import steps_svg

__all__ = ["heat_grids", "realness_grids", "residual_svg", "steps_svg"]
