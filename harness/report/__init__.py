"""Records to pages: HTML, CSV, JSON, JUnit; every number arrives as a value, nothing is written here."""

from harness.report.coverage_csv import coverage_csv
from harness.report.csv_file import csv_text
from harness.report.figures.coverage import coverage_svg
from harness.report.json_file import json_text
from harness.report.junit_file import junit_text
from harness.report.page import html
from harness.report.summary import summary

__all__ = ["coverage_csv", "coverage_svg", "csv_text", "html", "json_text", "junit_text", "summary"]
