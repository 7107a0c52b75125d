"""What a histogram shows of low bits that never change."""

from typing import Final

REGULAR_GAPS: Final = "regular-gaps"
"""Stands among the claims that are not met: the codes that came lie 2, 4 or 8 apart."""
