"""The acceptance suite: one test per channel, range and claim of the job's ladder."""

from __future__ import annotations

from fixtures.claims import DecidedClaim


def test_claim(decided_claim: DecidedClaim) -> None:
    decided_claim.settle()
