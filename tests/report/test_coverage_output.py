"""The coverage map as CSV and as a figure: every setting, the same bytes again, gaps and crosses to be seen."""

from __future__ import annotations

import csv
import dataclasses
import io
import xml.etree.ElementTree as ElementTree

import pytest

from harness.report import coverage_csv, coverage_svg
from harness.values import Coverage, CoverageRange, CoverageRow


def row(coarse: int, fine: int, scale_vpp: float, *, reachable: bool = True) -> CoverageRow:
    return CoverageRow(
        coarse=coarse, fine=fine, name=f"r{coarse} {fine}", gain_codes_per_v=4096.0 / scale_vpp, gain_db=6.0 * fine,
        scale_vpp=scale_vpp, nominal_scale_vpp=scale_vpp, common_percent=1.0, independent_percent=0.25,
        step_db=None if fine == 0 else 6.0, needed_vpk=scale_vpp / 3.0, drive_vpk=scale_vpp / 3.0, fill_ratio=0.75,
        bits_used=11.6, reachable=reachable,
    )  # fmt: skip


def design(*, gap: bool = True) -> Coverage:
    rows = (row(0, 0, 20.0, reachable=False), row(0, 1, 10.0), row(1, 0, 2.0), row(1, 1, 1e-9))
    ranges = tuple(
        CoverageRange(
            name=name, least_scale_vpp=least, most_scale_vpp=most, span_db=6.0, largest_step_db=6.0, distinct=2,
            overlap_db=overlap_db, gap=gap and overlap_db is not None, least_fill_ratio=0.5, most_fill_ratio=0.75,
            least_bits_used=11.0, unreachable=0,
        )
        for name, least, most, overlap_db in (("20V", 10.0, 20.0, -14.0), ("2V <&>", 1e-9, 2.0, None))
    )  # fmt: skip
    return Coverage(
        rows=rows, ranges=ranges, least_scale_vpp=1e-9, most_scale_vpp=20.0, span_db=26.0, largest_step_db=14.0,
        largest_step_at="", unreachable=1, fill_low_ratio=0.5, fill_high_ratio=0.9,
    )  # fmt: skip


def test_csv_has_a_row_for_each_setting() -> None:
    text = coverage_csv(design())
    table = list(csv.DictReader(io.StringIO(text)))
    assert list(table[0]) == [field.name for field in dataclasses.fields(CoverageRow)]
    assert len(table) == 4
    assert (table[0]["step_db"], table[0]["reachable"], table[1]["reachable"]) == ("", "no", "yes")
    assert float(table[2]["scale_vpp"]) == pytest.approx(2.0)


def test_the_figure_is_a_whole_file_and_the_same_again() -> None:
    svg = coverage_svg(design(), title="a design & its ranges")
    root = ElementTree.fromstring(svg.encode())  # our own text
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    words = "".join(root.itertext())
    for wanted in ("a design & its ranges", "2V <&>", "gap 14.0 dB", "x: no level reaches it", "bits used", "1 nV"):
        assert wanted in words
    assert svg == coverage_svg(design(), title="a design & its ranges")


def test_a_design_without_gaps_names_none() -> None:
    assert "gap" not in coverage_svg(design(gap=False), title="whole")
