"""Certificates of the instruments: on the first screen, in the table, in JSON; what had run out is said."""

from __future__ import annotations

import dataclasses
import json
from types import SimpleNamespace

import pytest

from harness import report
from harness.app.certificates import certificates_of
from harness.config import BenchFile, parse
from harness.errors import ConfigError
from harness.report.certificates import certificate_notes, instrument_lines, validity
from harness.values import Certificate
from tests.report.test_report_first_screen import first_screen, words_of

BENCH = """kind = "bench"
version = 1
name = "b"
max_level_vpk = 1.0
change = [{{ version = 1, date = 2026-11-25, owner = "o", reason = "r" }}]
source = {{ profile = "s.toml", address = "a", serial = "1"{source} }}
device = {{ profile = "d.toml", address = "b", serial = "2" }}
wiring = {{ load_ohm = 50.0, told_ohm = 50.0 }}
"""
STATED = ', certificate = {{ number = "K-7", laboratory = "L", calibrated = {}, valid_until = {} }}'


def bench(source: str) -> BenchFile:
    return parse(BenchFile, BENCH.format(source=source), file="b.toml")


def source(valid_until: str = "2027-05-31", number: str = "K-7") -> Certificate:
    return Certificate(
        role="source", number=number, laboratory="L", calibrated="2026-06-01", valid_until=valid_until
    )  # fmt: skip


def test_a_real_bench_states_them_or_is_told_that_it_does_not() -> None:
    stated = STATED.format("2026-06-01", "2027-05-31").replace("{{", "{").replace("}}", "}")
    assert certificates_of(bench(stated)) == (source(),)
    (nothing,) = certificates_of(bench(""))
    assert (nothing.role, nothing.number, nothing.valid_until) == ("source", "", "")


def test_a_certificate_cannot_run_out_before_it_was_made() -> None:
    stated = STATED.format("2026-06-01", "2026-05-31").replace("{{", "{").replace("}}", "}")
    with pytest.raises(ConfigError, match="valid_until on or after calibrated, 2026-06-01"):
        bench(stated)


@pytest.mark.parametrize(("last", "out"), [("2026-11-25", False), ("2026-11-24", True)])
def test_it_holds_to_the_end_of_its_last_day(made: SimpleNamespace, last: str, out: bool) -> None:
    """The run of these tests began on 2026-11-25."""
    result = dataclasses.replace(made.small, certificates=(source(last),))
    (line, device) = instrument_lines(made.header(), result)
    assert (line.expired, device.expired) == (out, False)
    assert bool(certificate_notes(made.header(), result)) is out
    assert validity(made.header(), result) == f"source until {last}" + (", run out" if out else "")


def test_the_page_says_it_first_and_tabulates_it(made: SimpleNamespace) -> None:
    result = dataclasses.replace(made.small, certificates=(source("2026-11-01"), source(number="")))
    page = report.html(made.header(), result, ())
    first = first_screen(page)
    assert "The certificate of the source (K-7) ran out on 2026-11-01, before this run" in first
    assert "The bench file states no calibration certificate of: source." in first
    assert "Calibrated source until 2026-11-01, run out, source not stated" in first
    result = dataclasses.replace(made.small, certificates=(source("2026-11-01"),))
    page = report.html(made.header(), result, ())
    table = words_of(page[page.index('id="instruments"') :])
    assert "source Machair SG-1 S100 1.2 K-7, L 2026-06-01 2026-11-01 , run out" in table
    assert json.loads(report.json_text(made.header(), result))["certificates"][0]["valid_until"] == "2026-11-01"
    bare = report.html(made.header(), made.small, ())
    assert "certificate" not in bare.lower()


def test_the_least_margin_of_all_claims_is_told_in_u(made: SimpleNamespace) -> None:
    """2 % less 1.5 % over U = 0.25 % is 2 U, less than 1.9 % over 0.1 %, which is 19 U."""
    near, far = made.small.judgements[1], made.small.judgements[3]
    claims = (
        dataclasses.replace(near, item="gain", measured=1.5, margin=0.5, expanded=0.25, unit="percent"),
        dataclasses.replace(far, item="gain", measured=0.1, margin=1.9, expanded=0.1, unit="percent"),
    )
    result = dataclasses.replace(made.small, judgements=claims)
    told = first_screen(report.html(made.header(), result, ()))
    assert "Least margin of all claims gain ch1 20V 100 %: margin +0.500 %, +2.0 U" in told
    assert "Least margin" not in first_screen(report.html(made.header(), made.small, ()))
