"""Claim: edges on the control bus keep the distances that the device file asks for."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.decision import conformance_probability
from harness.judge.uncertainty import Shape, standard_ratio
from harness.values import BusDistance, BusRecord, Judgement, Outcome, Setting


def bus_timing_claims(record: BusRecord) -> tuple[Judgement, ...]:
    """Whether each distance of a channel's captures keeps its limit.

    Args:
        record: distances over all captures.
    Returns:
        one judgement for each distance that has a limit and was seen, and one for the clock rate: PASS where none was
        below, else FAIL with how many, the worst and where it was. They stand at the channel's first setting. U is that
        of the adapter's resolution; it decides nothing, for the limits of a file are those of whole steps.
    Source:
        common practice for three-wire buses; times are whole multiples of the adapter's resolution.
    """
    timing = record.timing
    claims = [
        _judgement(record, distance)
        for distance in timing.distances
        if distance.limit_ns is not None and distance.minimum_ns is not None
    ]
    if timing.clock_limit_hz is not None and timing.clock_hz is not None:
        period = BusDistance(
            name="clock-period", count=0, minimum_ns=1e9 / timing.clock_hz, mean_ns=None, minimum_at_ns=None,
            limit_ns=1e9 / timing.clock_limit_hz, violations=timing.clock_violations,
        )  # fmt: skip
        claims.append(_judgement(record, period))
    return tuple(claims)


def _judgement(record: BusRecord, distance: BusDistance) -> Judgement:
    kept = distance.violations == 0
    place = "" if distance.minimum_in is None else f" at reading {distance.minimum_in}"
    reason = (
        f"ch{record.channel} bus: {distance.name} {distance.minimum_ns:g} ns{place}, allowed {distance.limit_ns:g} ns "
        f"or more; {distance.violations} below it in {record.captures} captures: look at the edges on "
        f"{record.clock} and {record.data}"
    )
    # Two edges, each somewhere within one step of the adapter's clock: their distance is triangular.
    standard_ns = record.timing.resolution_ns * standard_ratio(Shape.TRIANGULAR)
    least_ns, sure = distance.minimum_ns, None
    if standard_ns > 0.0 and least_ns is not None:
        sure = float(conformance_probability(least_ns, standard=standard_ns, low=distance.limit_ns))
    return Judgement(
        item="bus-timing",
        setting=Setting(record.channel, 0, 0),
        other=None,
        outcome=Outcome.PASS if kept else Outcome.FAIL,
        measured=distance.minimum_ns,
        low=distance.limit_ns,
        high=None,
        guard=0.0,
        unit="ns",
        margin=distance.margin_ns,
        reason="" if kept else reason,
        rule="simple",
        expanded=2.0 * standard_ns,
        conformance_ratio=sure,
    )


def _judge(context: Context) -> tuple[Judgement, ...]:
    return tuple(
        claim
        for record in context.bus
        if context.limit("bus-timing", Setting(record.channel, 0, 0)) is not None
        for claim in bus_timing_claims(record)
    )


BUS_TIMING = ClaimKind(
    item="bus-timing",
    unit="ns",
    scope=Scope.CHANNEL,
    needs=frozenset({Need.WORDS}),
    judge=_judge,
    limits_elsewhere=True,
)
"""Its numbers stand in the device file, under [bus.timing]."""
