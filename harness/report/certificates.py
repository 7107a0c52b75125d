"""Instruments and their certificates: who answered, calibrated when, valid until, and what had run out."""

from __future__ import annotations

from dataclasses import dataclass

from harness.report import words
from harness.values import Certificate, RunHeader, RunResult


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentLine:
    """One instrument as text."""

    role: str
    manufacturer: str
    model: str
    serial: str
    firmware: str
    certificate: str
    calibrated: str
    valid_until: str
    expired: bool
    """Whether it had run out on the day of the run."""


def instrument_lines(header: RunHeader, result: RunResult) -> tuple[InstrumentLine, ...]:
    """The instruments of a run with their certificates.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        one line an instrument that answered or has a certificate, those that answered first.
    """
    known = {one.role: one for one in result.certificates}
    who = dict(header.identities)
    return tuple(_line(role, header, known.get(role)) for role in dict.fromkeys([*who, *known]))


def _line(role: str, header: RunHeader, stated: Certificate | None) -> InstrumentLine:
    who = dict(header.identities).get(role)
    told = stated is not None and stated.number
    return InstrumentLine(
        role=role,
        manufacturer=who.manufacturer if who else words.NOTHING,
        model=who.model if who else words.NOTHING,
        serial=who.serial if who else words.NOTHING,
        firmware=who.firmware if who else words.NOTHING,
        certificate=f"{stated.number}, {stated.laboratory}" if stated and told else "not stated" if stated else "",
        calibrated=stated.calibrated if stated else "",
        valid_until=stated.valid_until if stated else "",
        expired=stated is not None and expired(stated, header),
    )


def expired(stated: Certificate, header: RunHeader) -> bool:
    """Whether a certificate had run out when a run began.

    Args:
        stated: the certificate; one that is not stated has not run out.
        header: of the run.
    Returns:
        true from the day after its last one.
    """
    return bool(stated.valid_until) and header.started_utc[:10] > stated.valid_until


def validity(header: RunHeader, result: RunResult) -> str:
    """How long the instruments are calibrated, for the first screen.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        such as `source until 2027-03-01`; empty where the bench says nothing of certificates.
    """
    return ", ".join(
        f"{one.role} {'until ' + one.valid_until if one.number else 'not stated'}"
        + (", run out" if expired(one, header) else "")
        for one in result.certificates
    )


def certificate_notes(header: RunHeader, result: RunResult) -> tuple[str, ...]:
    """What the first screen must say of certificates.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        one sentence an instrument whose certificate had run out, and one for those without.
    """
    notes = [
        f"The certificate of the {one.role} ({one.number}) ran out on {one.valid_until}, before this run: "
        "U is not backed by a calibration. Have it calibrated, then measure again."
        for one in result.certificates
        if expired(one, header)
    ]
    silent = [one.role for one in result.certificates if not one.number]
    if silent:
        notes.append(f"The bench file states no calibration certificate of: {', '.join(silent)}.")
    return tuple(notes)
