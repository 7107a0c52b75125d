"""Calibration certificates of the instruments that gains rest on."""

from __future__ import annotations

from harness.config import BenchFile
from harness.values import Certificate

RESTED_ON = ("source", "meter")
"""Their levels are in every gain; of other instruments a certificate is told where the bench file states one."""


def certificates_of(bench: BenchFile) -> tuple[Certificate, ...]:
    """What a bench file states; on a real bench also where it states nothing of source or meter."""
    found = []
    for role, slot in bench.slots.items():
        stated = slot.certificate
        if stated is not None:
            found.append(
                Certificate(
                    role=role,
                    number=stated.number,
                    laboratory=stated.laboratory,
                    calibrated=stated.calibrated.isoformat(),
                    valid_until=stated.valid_until.isoformat(),
                )
            )
        elif role in RESTED_ON and bench.simulation is None:
            found.append(Certificate(role=role, number="", laboratory="", calibrated="", valid_until=""))
    return tuple(found)
