"""The statistics of a lot for people."""

from __future__ import annotations

from harness.values import Followed, LotResult, ParetoRow, Share

MOST_ROWS = 5


def lines_of(lot: LotResult) -> list[str]:
    """The lot in lines: yields first, then reasons, numbers, time, other limits."""
    attempts = ", ".join(f"{units} with {count}" for count, units in lot.attempts)
    outcomes = ", ".join(f"{count} {outcome}" for outcome, count in lot.outcomes if count)
    lines = [
        f"{lot.units} units of job {lot.job}, {lot.runs} attempts, {lot.first_utc[:10]} to {lot.last_utc[:10]}",
        f"first pass   {share(lot.first_pass)}",
        f"final        {share(lot.final)}",
        f"retest pass  {share(lot.retest_pass)}",
        *([f"repaired     {share(lot.repaired)}, apart from all others"] if lot.repaired.trials else []),
        f"attempts: {attempts or 'none judged'}; {outcomes}; {lot.not_judged} INVALID or incomplete, apart",
    ]
    if lot.quarantine or lot.never_judged:
        lines.append(f"{lot.quarantine} units beyond three attempts; {lot.never_judged} units never judged")
    lines += _pareto("failing items", lot.items)
    lines += _pareto("diagnoses", lot.diagnoses)
    if lot.invalid:
        lines.append("INVALID by cause:")
        for text, runs, settings in lot.invalid[:MOST_ROWS]:
            lines.append(f"  {runs:6d} attempts, {settings} settings  {text}")
    lines += [line for one in lot.followed for line in _followed(one)]
    if lot.more_followed:
        lines.append(f"and {lot.more_followed} more numbers with a higher Cpk or no limits")
    if lot.times is not None:
        times = lot.times
        lines.append(
            f"time: median {times.median_s:.1f} s, nine of ten {times.ninety_s:.1f} s, longest {times.longest_s:.1f} s"
            + ("" if times.takt_s is None else f"; {times.over} of {times.count} over the takt of {times.takt_s:g} s")
        )
    if len(lot.versions) > 1:
        lines.append(f"{len(lot.versions)} versions of the limits in this lot")
    return lines + _limits(lot)


def share(one: Share) -> str:
    """A share with its interval."""
    if one.ratio is None:
        return "no unit was judged"
    low, high = 100.0 * one.low_ratio, 100.0 * one.high_ratio
    return f"{100.0 * one.ratio:6.2f} %  [{low:.2f}, {high:.2f}]  {one.events} of {one.trials}"


def _pareto(title: str, rows: tuple[ParetoRow, ...]) -> list[str]:
    if not rows:
        return []
    lines = [f"{title}, units:"]
    for row in rows[:MOST_ROWS]:
        lines.append(f"  {row.units:6d}  {row.share_percent:6.2f} %  {row.name}  ({', '.join(row.examples)})")
    if len(rows) > MOST_ROWS:
        lines.append(f"  and {len(rows) - MOST_ROWS} more")
    return lines


def _followed(one: Followed) -> list[str]:
    cpk = "no Cpk"
    if one.cpk is not None and one.cpk_interval is not None:
        cpk = f"Cpk {one.cpk:.2f} [{one.cpk_interval[0]:.2f}, {one.cpk_interval[1]:.2f}]"
    lines = [f"{one.name}: {cpk}, mean {one.mean:+.4g}, s {one.deviation:.3g} {one.unit}, {one.count} units".rstrip()]
    if one.base:
        lines.append(
            f"  weighted mean outside {one.excursions} times, false alarms expected {one.expected:.1f} (one in "
            f"{one.run_length:.0f} units); rules of zones {one.zone_alarms}, expected {one.zone_expected:.1f} (one in "
            f"{one.zone_run_length:.0f}); base {one.base} units"
        )
    return lines


def _limits(lot: LotResult) -> list[str]:
    effect = lot.limits
    if effect is None:
        return []
    lines = [
        f"by {effect.path}:",
        f"  first pass {share(effect.first_pass)}",
        f"  final      {share(effect.final)}",
        f"  {len(effect.now_passing)} units would pass{_named(effect.now_passing)}; "
        f"{len(effect.now_not_passing)} would not{_named(effect.now_not_passing)}",
    ]
    if effect.undecided:
        lines.append(
            f"  summaries cannot decide {', '.join(effect.undecided)}, which count as they were; "
            "`gainladder judge --compare` can"
        )
    return lines


def _named(units: tuple[str, ...]) -> str:
    if not units:
        return ""
    more = f" and {len(units) - MOST_ROWS} more" if len(units) > MOST_ROWS else ""
    return f" ({', '.join(units[:MOST_ROWS])}{more})"
