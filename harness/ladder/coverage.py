"""What a design covers on a bench: overlaps, gaps, steps, converter fill, bits used, what the source cannot reach."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from harness.config.job_file import Ladder
from harness.ladder.drive import Drive
from harness.law import GainLaw
from harness.values import Coverage, CoverageRange, CoverageRow, Setting, db_from_ratio


def coverage(law: GainLaw, drive: Drive, ladder: Ladder) -> Coverage:
    """What every setting of a device covers, whether or not a job visits it.

    Args:
        law: of the device.
        drive: what the source may put out on the bench.
        ladder: of the job, for the wanted and the allowed fill.
    Returns:
        one row per coarse and fine position, one per range, and the whole.
    """
    rows = _rows(law, drive, ladder)
    per_range = [[row for row in rows if row.coarse == coarse] for coarse in range(len(law.coarse_names))]
    ranges = tuple(
        _range(law.coarse_names[coarse], mine, per_range[coarse + 1] if coarse + 1 < len(per_range) else None)
        for coarse, mine in enumerate(per_range)
    )
    ordered = sorted(rows, key=lambda row: row.gain_codes_per_v)
    steps = [(upper.gain_db - lower.gain_db, f"{lower.name} to {upper.name}") for lower, upper in pairwise(ordered)]
    step_db, where = max(steps, default=(0.0, ""))
    return Coverage(
        rows=rows,
        ranges=ranges,
        least_scale_vpp=ordered[-1].scale_vpp,
        most_scale_vpp=ordered[0].scale_vpp,
        span_db=ordered[-1].gain_db - ordered[0].gain_db,
        largest_step_db=step_db,
        largest_step_at=where,
        unreachable=sum(not row.reachable for row in rows),
        fill_low_ratio=ladder.fill_low,
        fill_high_ratio=ladder.fill_high,
    )


def _rows(law: GainLaw, drive: Drive, ladder: Ladder) -> tuple[CoverageRow, ...]:
    spread = law.predict_many()
    settable = drive.least_vpk <= drive.most_vpk
    found: list[CoverageRow] = []
    for coarse in range(len(law.coarse_names)):
        for fine in range(len(law.fine_names)):
            prediction = law.predict(Setting(1, coarse, fine))
            gain_codes_per_v = prediction.gain_codes_per_v
            level = drive.level(gain_codes_per_v, ladder.fill_target)
            gain_db = db_from_ratio(gain_codes_per_v / law.path.codes_per_v)
            codes = law.span_codes * level.fill_ratio / prediction.state.arithmetic_ratio
            found.append(
                CoverageRow(
                    coarse=coarse,
                    fine=fine,
                    name=prediction.label.split(" ", 1)[1],
                    gain_codes_per_v=gain_codes_per_v,
                    gain_db=gain_db,
                    scale_vpp=law.span_codes / gain_codes_per_v,
                    nominal_scale_vpp=prediction.full_scale_vpp,
                    common_percent=spread.common_percent,
                    independent_percent=float(spread.independent_percent[len(found)]),
                    step_db=gain_db - found[-1].gain_db if fine else None,
                    needed_vpk=level.needed_vpk,
                    drive_vpk=level.drive_vpk,
                    fill_ratio=level.fill_ratio,
                    bits_used=math.log2(max(min(codes, law.span_codes), 1.0)),
                    reachable=settable and ladder.fill_low <= level.fill_ratio <= ladder.fill_high,
                )
            )
    return tuple(found)


def _range(name: str, rows: Sequence[CoverageRow], following: Sequence[CoverageRow] | None) -> CoverageRange:
    gains_db = [row.gain_db for row in rows]
    largest_step_db = _largest_step_db(rows)
    overlap_db = None if following is None else max(gains_db) - min(row.gain_db for row in following)
    nearby_db = [step for step in (largest_step_db, _largest_step_db(following or ())) if step is not None]
    return CoverageRange(
        name=name,
        least_scale_vpp=min(row.scale_vpp for row in rows),
        most_scale_vpp=max(row.scale_vpp for row in rows),
        span_db=max(gains_db) - min(gains_db),
        largest_step_db=largest_step_db,
        distinct=len(set(gains_db)),
        overlap_db=overlap_db,
        gap=overlap_db is not None and bool(nearby_db) and -overlap_db > max(nearby_db) + 1e-9,
        least_fill_ratio=min(row.fill_ratio for row in rows),
        most_fill_ratio=max(row.fill_ratio for row in rows),
        least_bits_used=min(row.bits_used for row in rows),
        unreachable=sum(not row.reachable for row in rows),
    )


def _largest_step_db(rows: Sequence[CoverageRow]) -> float | None:
    """Between neighbours in order of gain, as a user who may take any of them sees it."""
    ordered = sorted(row.gain_db for row in rows)
    return max((upper - lower for lower, upper in pairwise(ordered)), default=None)
