"""Diagnosis: known faults, what each would do to the readings of a run, and which come nearest."""

from harness.diagnosis.affected import not_exercised
from harness.diagnosis.candidates import Diagnosis, diagnose
from harness.diagnosis.catalogue import KNOWN, Known, Sight
from harness.diagnosis.exact_factors import FACTORS, ExactFactor, match_factor, station_faults
from harness.diagnosis.follow_up import follow_up
from harness.diagnosis.odd_frames import ODD_FRAMES
from harness.diagnosis.regular_gaps import REGULAR_GAPS
from harness.diagnosis.visit import Case, Visit

__all__ = [
    "FACTORS",
    "KNOWN",
    "ODD_FRAMES",
    "REGULAR_GAPS",
    "Case",
    "Diagnosis",
    "ExactFactor",
    "Known",
    "Sight",
    "Visit",
    "diagnose",
    "follow_up",
    "match_factor",
    "not_exercised",
    "station_faults",
]
