"""Records to pages: HTML, CSV, JSON, JUnit; every number arrives as a value, nothing is written here."""

from harness.report.against_page import against_html
from harness.report.claim_detail import COLUMNS, detail_html, line_cells, run_html
from harness.report.claim_line import ReportLine, report_line
from harness.report.coverage_csv import coverage_csv
from harness.report.csv_file import csv_text
from harness.report.csvw_file import csvw_text
from harness.report.diagnosis import diagnosis_csv
from harness.report.failures import failures
from harness.report.figures.coverage import coverage_svg
from harness.report.json_file import json_text
from harness.report.junit_file import junit_text
from harness.report.labels import labels_of
from harness.report.learned_page import learned_html
from harness.report.lot_page import lot_html
from harness.report.morning_page import morning_html
from harness.report.night_page import night_html
from harness.report.page import html
from harness.report.summary import summary
from harness.report.units_page import units_html
from harness.report.words import NOTHING

__all__ = [
    "COLUMNS",
    "NOTHING",
    "ReportLine",
    "against_html",
    "coverage_csv",
    "coverage_svg",
    "csv_text",
    "csvw_text",
    "detail_html",
    "diagnosis_csv",
    "failures",
    "html",
    "json_text",
    "junit_text",
    "labels_of",
    "learned_html",
    "line_cells",
    "lot_html",
    "morning_html",
    "night_html",
    "report_line",
    "run_html",
    "summary",
    "units_html",
]
