"""The tables of `gainladder preview`."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.amplitude import plan_frequency
from harness.app.output import result
from harness.config.device_file import Acquisition
from harness.ladder import PreviewRow, PreviewSummary
from harness.values import Coverage, Purpose


def ladder_text(rows: Sequence[PreviewRow], summary: PreviewSummary) -> None:
    """One line for each reading, then the whole."""
    wide = max([14, *(len(row.word) for row in rows)])
    result(
        f"{'setting':<20} {'way':<4} {'word':<{wide}} {'gain dB':>8} {'codes/V':>11} {'±common':>8} {'±own %':>7}"
        f" {'drive Vpk':>10} {'fill':>5}  relays"
    )
    for row in rows:
        result(
            f"{row.label:<20} {row.direction:<4} {row.word:<{wide}} {row.gain_db:>8.3f} {row.gain_codes_per_v:>11.5g}"
            f" {_tolerance(row, row.common_percent):>8} {_tolerance(row, row.independent_percent):>7}"
            f" {row.drive_vpk:>10.4g} {row.fill_ratio:>5.2f}  {' '.join(row.relays)}{_aside(row)}"
        )
    toggles = ", ".join(f"{relay} {count}" for relay, count in summary.relay_toggles) or "none"
    result(f"\n{summary.settings} settings, {summary.readings} readings, at least {summary.duration_s:.1f} s")
    result(f"relay toggles: {toggles}")
    if summary.extras:
        said = ", ".join(f"{purpose} {count}" for purpose, count in summary.extras)
        result(f"beside the ladder, counted above: {said}")
    if summary.codes:
        result(f"codes {summary.codes[0]} to {summary.codes[-1]}, {len(summary.codes)} different ones")
    if summary.largest_fine_step_db is not None:
        result(f"largest fine step {summary.largest_fine_step_db:.3f} dB")


def frequency_text(acquisition: Acquisition) -> None:
    """A line where another test frequency near the device's own would serve better; nothing where it serves."""
    own_hz = acquisition.frequency_hz
    plan = plan_frequency(
        sample_rate_hz=acquisition.sample_rate_hz, samples=acquisition.samples, wanted_hz=own_hz
    )
    if plan.frequency_hz is None:
        result(f"test frequency: {plan.reason}")
    elif not math.isclose(plan.frequency_hz, own_hz, rel_tol=1e-9):
        result(
            f"test frequency: {own_hz:g} Hz is not an odd number of cycles that is prime to the samples, clear of "
            "mains harmonics and of sub-multiples of the sample rate; "
            f"{plan.frequency_hz:g} Hz is, with {plan.cycles} cycles"
        )


def _aside(row: PreviewRow) -> str:
    """What a reading beside the ladder is for."""
    if row.purpose is Purpose.LADDER:
        return ""
    more = f" {row.frequency_hz:g} Hz" if row.frequency_hz else ""
    if row.steady_v:
        when = "" if row.dither_always else " if quiet"
        dither = f", {row.dither} levels over one code{when}" if row.dither else ", no dither"
        more = f" {row.steady_v:+.4g} V{dither}"
    return f"  [{row.purpose}{more}]"


def _tolerance(row: PreviewRow, percent: float) -> str:
    """A dash where the device file states no tolerance at all: nobody knows, and 0.00 would say exact."""
    stated = row.common_percent > 0.0 or row.independent_percent > 0.0
    return f"{percent:.2f}" if stated else "-"


def coverage_text(coverage: Coverage) -> None:
    """One line for each range of the device, then the whole."""
    result("\nwhat the device covers, visited or not:")
    result(
        f"{'range':<10} {'full scale, Vpp':<19} {'span dB':>8} {'step dB':>8} {'gains':>6} {'overlap dB':>11}"
        f" {'fill':>10} {'bits':>5}  remarks"
    )
    for item in coverage.ranges:
        remarks = []
        if item.gap:
            remarks.append("GAP to the next range")
        if item.unreachable:
            remarks.append(f"{item.unreachable} settings no level fills")
        step = "" if item.largest_step_db is None else f"{item.largest_step_db:.3f}"
        overlap = "" if item.overlap_db is None else f"{item.overlap_db:+.2f}"
        result(
            f"{item.name:<10} {f'{item.most_scale_vpp:.4g} to {item.least_scale_vpp:.4g}':<19} {item.span_db:>8.2f}"
            f" {step:>8} {item.distinct:>6} {overlap:>11}"
            f" {f'{item.least_fill_ratio:.2f}-{item.most_fill_ratio:.2f}':>10} {item.least_bits_used:>5.1f}"
            f"  {'; '.join(remarks)}".rstrip()
        )
    result(
        f"{coverage.most_scale_vpp:.4g} to {coverage.least_scale_vpp:.4g} V peak to peak, {coverage.span_db:.1f} dB;"
        f" largest step between neighbours {coverage.largest_step_db:.2f} dB ({coverage.largest_step_at})"
    )
    gaps = [item.name for item in coverage.ranges if item.gap]
    reached = len(coverage.rows) - coverage.unreachable
    result(
        f"{reached} of {len(coverage.rows)} positions reachable with a fill of {coverage.fill_low_ratio:g} to"
        f" {coverage.fill_high_ratio:g}; gaps: {', '.join(f'behind {name}' for name in gaps) or 'none'}"
    )
