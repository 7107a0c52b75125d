"""The result as a JUnit file: one case per channel, range and claim; fitted parameters are of the channel."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree

from harness.report.finite import require_finite
from harness.report.labels import WHOLE_CHANNEL, range_name
from harness.report.words import plain, worst_of
from harness.values import Judgement, Outcome, RunHeader, RunResult

MOST_REASONS = 50
"""Reasons written into one case; the rest are counted."""

ELEMENT = {Outcome.FAIL: "failure", Outcome.INVALID: "error", Outcome.INCONCLUSIVE: "skipped"}


def junit_text(header: RunHeader, result: RunResult) -> str:
    """What a CI server shows of a run.

    FAIL is a failure, INVALID an error, INCONCLUSIVE skipped with its reason, and so is what the job does not measure.
    One more case says whether the run is complete, so that a run without settings is never green.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        an XML document with one test suite.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    require_finite(result)
    cases = [_case(name, item, claims) for (name, item), claims in _groups(result).items()]
    cases.extend(_unmeasured(item) for item in result.unmeasured)
    cases.append(_completeness(result))
    suite = ElementTree.Element(
        "testsuite",
        {
            "name": plain(f"gainladder {header.unit}"),
            "tests": str(len(cases)),
            "failures": str(_number(cases, "failure")),
            "errors": str(_number(cases, "error")),
            "skipped": str(_number(cases, "skipped")),
            "timestamp": plain(header.started_utc),
        },
    )
    properties = ElementTree.SubElement(suite, "properties")
    for name, value in _properties(header, result):
        ElementTree.SubElement(properties, "property", {"name": name, "value": plain(value)})
    suite.extend(cases)
    ElementTree.indent(suite)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ElementTree.tostring(suite, encoding="unicode") + "\n"


def _properties(header: RunHeader, result: RunResult) -> list[tuple[str, str]]:
    return [
        ("run", header.run_id),
        ("unit", header.unit),
        ("verdict", result.verdict),
        ("complete", "true" if result.complete else "false"),
        *((f"settings.{outcome}", str(number)) for outcome, number in result.counts),
        *((f"file.{file.role}", f"{file.path} version {file.version} sha256 {file.sha256}") for file in header.files),
    ]


def _groups(result: RunResult) -> dict[tuple[str, str], list[Judgement]]:
    groups: dict[tuple[str, str], list[Judgement]] = {}
    for claim in sorted(result.judgements, key=_place):
        channel, coarse, item = _place(claim)
        name = "run" if channel == 0 else f"ch{channel}"
        if coarse >= 0:
            name = f"{name}.{range_name(coarse, result)}"
        groups.setdefault((name, item), []).append(claim)
    return groups


def _place(claim: Judgement) -> tuple[int, int, str]:
    """Channel, range and item; channel 0 for the run, range -1 where it is none's own."""
    of = claim.setting
    if of is None:
        return 0, -1, claim.item
    return of.channel, -1 if claim.item in WHOLE_CHANNEL else of.coarse, claim.item


def _case(name: str, item: str, claims: Sequence[Judgement]) -> ElementTree.Element:
    case = ElementTree.Element("testcase", {"classname": plain(name), "name": plain(item)})
    worst = worst_of([claim.outcome for claim in claims])
    if worst in ELEMENT:
        reasons = [plain(claim.reason) or "no reason was recorded" for claim in claims if claim.outcome is worst]
        message = reasons[0] if len(reasons) == 1 else f"{len(reasons)} of {len(claims)}: {reasons[0]}"
        told = ElementTree.SubElement(case, ELEMENT[worst], {"message": message, "type": worst})
        more = [f"and {len(reasons) - MOST_REASONS} more"] if len(reasons) > MOST_REASONS else []
        told.text = "\n".join([*reasons[:MOST_REASONS], *more])
    return case


def _unmeasured(item: str) -> ElementTree.Element:
    case = ElementTree.Element("testcase", {"classname": "run", "name": plain(item)})
    message = (
        "not measured by this job: its [extra] table asks for no such readings, or its ladder has one channel "
        "or too few settings"
    )
    ElementTree.SubElement(case, "skipped", {"message": message, "type": "not measured"})
    return case


def _completeness(result: RunResult) -> ElementTree.Element:
    case = ElementTree.Element("testcase", {"classname": "run", "name": "complete"})
    if not result.settings:
        ElementTree.SubElement(case, "error", {"message": "no setting was run", "type": Outcome.INVALID})
    elif not result.complete:
        message = "the run is incomplete: the verdict covers what was read"
        ElementTree.SubElement(case, "error", {"message": message, "type": Outcome.INVALID})
    return case


def _number(cases: Sequence[ElementTree.Element], kind: str) -> int:
    return sum(case.find(kind) is not None for case in cases)
