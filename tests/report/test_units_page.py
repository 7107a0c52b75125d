"""The page of the statistics of many units."""

from __future__ import annotations

import dataclasses

import pytest

from harness import report
from harness.errors import NotFinite
from harness.lot import Asked, StoredLot, analyse
from harness.store import open_store
from tests.lot.generate import generate


@pytest.fixture(scope="module")
def lot(tmp_path_factory):
    with open_store(str(tmp_path_factory.mktemp("lot") / "lot.sqlite")) as store:
        generate(store, 60, seed=2, shift_at=40)
        return analyse(StoredLot(store), Asked(takt_s=45.0), summarise=None).result


def test_the_page_shows_yields_reasons_and_charts(lot):
    page = report.units_html(lot, [("another job", 3)], software="0.1.0")
    assert f"{lot.first_pass.events} of 60" in page
    assert f"{100 * lot.first_pass.low_ratio:.2f} to" in page
    assert page.count("<svg") == len(lot.followed) == 8
    assert "expected by chance (one in 371 units)" in page
    assert "another job" in page
    assert page == report.units_html(lot, [("another job", 3)], software="0.1.0")


def test_points_outside_are_red_and_only_those(lot):
    one = next(one for one in lot.followed if one.excursions)
    outside = sum(abs(value - one.centre) > half for value, half in zip(one.weighted, one.half, strict=True))
    svg = report.units_html(dataclasses.replace(lot, followed=(one,)), [], software="0.1.0")
    assert svg.count("<circle") == outside > 0


def test_a_number_that_is_not_finite_makes_no_page(lot):
    odd = dataclasses.replace(lot.followed[0], mean=float("nan"))
    with pytest.raises(NotFinite, match="followed"):
        report.units_html(dataclasses.replace(lot, followed=(odd,)), [], software="0.1.0")
