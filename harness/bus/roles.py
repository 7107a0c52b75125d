"""Which line is data, clock and latch, found from the traffic alone, with evidence, or "cannot tell"."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from harness.bus.bursts import Bursts, LineActivity, activity, bursts_of, clock_line
from harness.bus.decode import decode
from harness.bus.edges import check_capture
from harness.bus.ownership import channel_latches, first_bit
from harness.bus.wiring import BusDevice, BusWiring
from harness.errors import CaptureError
from harness.values import Capture

LEAST_BITS = 3
"""Frames of fewer clocks look like anything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelledCapture:
    """A capture, and what was done during it."""

    capture: Capture
    channel: int | None = None
    """The only channel whose gain was moved; None when unknown."""
    rank: float | None = None
    """Place of the setting in an order in which its word should rise or fall steadily, such as the gain; None when
    unknown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One answer."""

    value: str
    """Empty for "cannot tell"."""
    confidence_ratio: float
    """Share of the observations that agree, 0 to 1; 0 for "cannot tell"."""
    evidence: str
    """For people: what was counted."""

    @property
    def told(self) -> bool:
        """Whether there is an answer."""
        return self.value != ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Roles:
    """All answers about a bus."""

    lines: tuple[str, ...]
    clock: Found
    data: Found
    clock_edge: Found
    """rising or falling."""
    latch_edge: Found
    """rising or falling."""
    latches: tuple[Found, ...]
    """Latch lines in the order of the lines."""
    bits: tuple[Found, ...]
    """Word length under each latch, as text."""
    first_bit: Found
    """most-significant or least-significant."""
    channels: tuple[tuple[int, Found], ...]
    """The latch of each channel that was moved."""

    def wiring(self, minimum_pulse_ns: float = 0.0) -> BusWiring | None:
        """The wiring that was found; None where an answer that it needs is missing.

        Args:
            minimum_pulse_ns: shorter pulses are glitches, ns.
        Returns:
            the wiring; latches whose word length could not be told are left out.
        Source:
            none: the same content.
        """
        devices = tuple(
            BusDevice(latch=latch.value, bits=int(bits.value))
            for latch, bits in zip(self.latches, self.bits, strict=True)
            if bits.told
        )
        if not (self.clock.told and self.data.told and self.clock_edge.told and self.latch_edge.told and devices):
            return None
        return BusWiring(
            lines=self.lines,
            data=self.data.value,
            clock=self.clock.value,
            clock_rising=self.clock_edge.value == "rising",
            latch_rising=self.latch_edge.value == "rising",
            minimum_pulse_ns=minimum_pulse_ns,
            devices=devices,
        )


def cannot_tell(why: str) -> Found:
    """The answer that is none.

    Args:
        why: for people.
    Returns:
        an answer without a value.
    Source:
        none: wording.
    """
    return Found(value="", confidence_ratio=0.0, evidence=f"cannot tell: {why}")


def find_roles(captures: tuple[LabelledCapture, ...], *, minimum_pulse_ns: float = 0.0) -> Roles:
    """What each line of a three-wire bus is for.

    The clock is the line whose pulses come in bursts of one period; data is the line that moves inside these bursts;
    latches are lines that pulse between bursts only. Data moves while the clock stands at its resting phase, so it is
    taken at the edge that ends that phase. The word length is the number of clocks between latches. Which latch belongs
    to a channel shows when one channel is moved at a time; the bit order shows when the words of neighbouring settings
    should be neighbours.

    Args:
        captures: one or more, of the same lines, all levels known.
        minimum_pulse_ns: shorter pulses are glitches, ns, >= 0.
    Returns:
        an answer to each question.
    Raises:
        CaptureError: no capture, captures of different lines, or one that contradicts itself.
    Source:
        common practice for three-wire buses; found again on generated traffic in tests/bus/test_bus_roles.py.
    """
    if not captures:
        raise CaptureError("find roles: no capture; allowed is one or more of the same lines")
    for labelled in captures:
        lines = captures[0].capture.lines
        if labelled.capture.lines != lines:
            other = labelled.capture.lines
            raise CaptureError(f"find roles: lines {other!r} after {lines!r}; allowed are the same ones")
        check_capture(labelled.capture, lines)
    roles = _of_lines(lines, [activity(labelled.capture, minimum_pulse_ns) for labelled in captures])
    wiring = roles.wiring(minimum_pulse_ns)
    if wiring is None:
        return roles
    decoded = [(labelled.channel, labelled.rank, decode(labelled.capture, wiring)) for labelled in captures]
    owners = tuple(
        (channel, Found(value=v, confidence_ratio=r, evidence=t)) for channel, v, r, t in channel_latches(decoded)
    )
    value, share, text = first_bit(decoded, wiring)
    order = Found(value=value, confidence_ratio=share, evidence=text)
    return dataclasses.replace(roles, first_bit=order, channels=owners)


def _of_lines(lines: tuple[str, ...], seen: list[LineActivity]) -> Roles:
    """What edges alone tell, before any word is read."""
    name, share, why = clock_line(seen)
    if not name:
        nothing = cannot_tell("no clock was found")
        return Roles(
            lines=lines, clock=cannot_tell(why), data=nothing, clock_edge=nothing, latch_edge=nothing, latches=(),
            bits=(), first_bit=nothing, channels=(),
        )  # fmt: skip
    clock = Found(value=name, confidence_ratio=share, evidence=why)
    bursts = [bursts_of(lines_seen, name) for lines_seen in seen]
    data, inside = _data(seen, bursts, lines, name)
    latches = tuple(
        _latch(line, seen, bursts) for line in lines
        if line not in (name, data.value) and _is_latch(line, seen, bursts, inside)
    )  # fmt: skip
    rest = [line for line in lines if line not in (name, *(latch.value for latch in latches))]
    if not data.told and len(rest) == 1:
        data = Found(value=rest[0], confidence_ratio=0.5, evidence="the only line left; it never moved inside a burst")
    clock_edge = _clock_edge(data, seen, bursts)
    latch_edge = _latch_edge(latches, seen, bursts)
    return Roles(
        lines=lines, clock=clock, data=data, clock_edge=clock_edge, latch_edge=latch_edge, latches=latches,
        bits=tuple(_bits(latch.value, latches, latch_edge, seen, bursts) for latch in latches),
        first_bit=cannot_tell("no words"), channels=(),
    )  # fmt: skip


def _inside(line: str, seen: list[LineActivity], bursts: list[Bursts]) -> tuple[int, int]:
    """Edges of a line inside bursts of the clock, and in all."""
    marks = [found.inside(lines_seen[line]) for lines_seen, found in zip(seen, bursts, strict=True)]
    return sum(int(np.count_nonzero(inside)) for inside in marks), sum(inside.size for inside in marks)


def _data(
    seen: list[LineActivity], bursts: list[Bursts], lines: tuple[str, ...], clock: str
) -> tuple[Found, dict[str, int]]:
    inside = {line: _inside(line, seen, bursts)[0] for line in lines if line != clock}
    ranked = sorted(inside, key=lambda line: -inside[line])
    total = sum(inside.values())
    if total == 0:
        return cannot_tell("no line moves inside the bursts of the clock: all words are constant"), inside
    share = inside[ranked[0]] / total
    text = f"{inside[ranked[0]]} of {total} edges inside the bursts of the clock are on {ranked[0]}"
    if share < 0.8:
        return cannot_tell(f"{text}: others move there too"), inside
    return Found(value=ranked[0], confidence_ratio=share, evidence=text), inside


def _is_latch(line: str, seen: list[LineActivity], bursts: list[Bursts], inside: dict[str, int]) -> bool:
    count = _inside(line, seen, bursts)[1]
    return count >= 2 and inside[line] <= 0.1 * count


def _latch(line: str, seen: list[LineActivity], bursts: list[Bursts]) -> Found:
    inside, count = _inside(line, seen, bursts)
    return Found(
        value=line, confidence_ratio=1.0 - inside / count,
        evidence=f"{count - inside} of {count} edges of {line} lie between the bursts of the clock",
    )  # fmt: skip


def _clock_edge(data: Found, seen: list[LineActivity], bursts: list[Bursts]) -> Found:
    """Data is set up in the phase of the clock before the active edge."""
    if not data.told:
        return cannot_tell("data is not known")
    low = high = 0
    for lines_seen, found in zip(seen, bursts, strict=True):
        edges_ns = found.clock.times_ns
        # The level just before each clock edge: a pulse within one phase, traffic for somebody else, leaves no trace.
        moved = np.diff(lines_seen[data.value].high_before(edges_ns).astype(np.int8)) != 0
        moved &= ~np.isin(edges_ns[1:], found.starts_ns)
        is_high = (np.arange(moved.size) % 2 == 0) != found.clock.initial
        high += int(np.count_nonzero(moved & is_high))
        low += int(np.count_nonzero(moved & ~is_high))
    if low + high == 0:
        return cannot_tell("data never moves inside a burst")
    share = max(low, high) / (low + high)
    phase = "low" if low > high else "high"
    text = f"{max(low, high)} of {low + high} changes of data inside bursts come while the clock is {phase}"
    if share < 0.65:
        return cannot_tell(f"{text}: no phase is preferred")
    return Found(value="rising" if low > high else "falling", confidence_ratio=share, evidence=text)


def _latch_edge(latches: tuple[Found, ...], seen: list[LineActivity], bursts: list[Bursts]) -> Found:
    """The first latch edge after a burst is the active one."""
    rising = falling = 0
    for latch in latches:
        for lines_seen, found in zip(seen, bursts, strict=True):
            line = lines_seen[latch.value]
            at = line.times_ns.searchsorted(found.ends_ns)
            # Only where the edge comes before the next burst.
            follows = np.append(found.starts_ns[1:], np.iinfo(np.int64).max)
            at, limit = at[at < line.times_ns.size], follows[at < line.times_ns.size]
            at = at[line.times_ns[at] < limit]
            up = int(np.count_nonzero((at % 2 == 0) != line.initial))
            rising, falling = rising + up, falling + at.size - up
    total = rising + falling
    if total == 0:
        return cannot_tell("no latch pulse follows a burst")
    share = max(rising, falling) / total
    name = "rising" if rising > falling else "falling"
    text = f"the first latch edge after a burst is {name} in {max(rising, falling)} of {total} cases"
    if share < 0.8:
        return cannot_tell(f"{text}: not steady")
    text += "; a latch that acts on the other edge of the pulse would take the same words"
    return Found(value=name, confidence_ratio=share, evidence=text)


def _bits(
    line: str, latches: tuple[Found, ...], latch_edge: Found, seen: list[LineActivity], bursts: list[Bursts]
) -> Found:
    """Clocks between the latch before and this one."""
    if not latch_edge.told:
        return cannot_tell("the active latch edge is not known")
    rising = latch_edge.value == "rising"
    counts: list[int] = []
    for lines_seen, found in zip(seen, bursts, strict=True):
        instants = np.unique(np.concatenate([lines_seen[latch.value].active(rising=rising) for latch in latches]))
        clocks = found.pulses_ns.searchsorted(instants)
        since = np.diff(clocks, prepend=0)
        mine = np.isin(instants, lines_seen[line].active(rising=rising))
        counts += [int(count) for count in since[mine] if count >= LEAST_BITS]
    if not counts:
        return cannot_tell(f"no frame of {LEAST_BITS} clocks or more ends with {line}")
    usual = max(set(counts), key=lambda count: (counts.count(count), count))
    share = counts.count(usual) / len(counts)
    text = f"{counts.count(usual)} of {len(counts)} frames that end with {line} have {usual} clocks"
    return Found(value=str(usual), confidence_ratio=share, evidence=text) if share > 0.5 else cannot_tell(text)
