"""The ladder of a job: every planned reading, in order."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from harness.config import BenchFile, DeviceFile, LadderFile
from harness.config.job_file import Ladder
from harness.errors import ConfigError, Problem
from harness.ladder.choice import Choice, choose
from harness.ladder.drive import Drive, drive_of
from harness.ladder.hold import Levels, held
from harness.ladder.relays import toggles
from harness.law import GainLaw
from harness.values import Direction, Prediction, Rung, Setting


def build(
    law: GainLaw,
    device: DeviceFile,
    bench: BenchFile,
    job_ladder: Ladder,
    *,
    source_min_vpk: float,
    source_max_vpk: float,
    file: str,
    cycle: int = 0,
    named: LadderFile | None = None,
    named_by: str = "",
) -> tuple[Rung, ...]:
    """Which readings a job takes, in what order, at what level.

    Channel by channel; in each, range by range and fine position by fine position towards more gain for `up`, the same
    way back for `down`, in the order of the job's directions. That order moves the fewest relays. In random blocks the
    ranges of each way are shuffled instead, from the job's seed and the cycle; fine positions stay sorted.

    Args:
        law: of the device.
        device: for the input limit.
        bench: for the wiring and the bench's own limit.
        job_ladder: what the job wants.
        source_min_vpk: least level of the source for the load it is told, V peak.
        source_max_vpk: most level of the source for the load it is told, V peak.
        file: the job file's name, for messages.
        cycle: which of several sweeps: each draws its own random blocks.
        named: the ladder file of the job; None: what the job lists, or all.
        named_by: the ladder file's name, for messages.
    Returns:
        the rungs, index from 0 without gaps.
    Raises:
        ConfigError: the job names a channel, range or fine position that the device does not have or names one twice,
            wants nothing at all, or wants a range that the source cannot drive to an allowed fill.
    """
    choice = choose(law, job_ladder, file=file, named=named, named_by=named_by)
    if choice.problems:
        raise ConfigError(choice.problems)
    drive = drive_of(
        device, bench, span_codes=law.span_codes, source_min_vpk=source_min_vpk, source_max_vpk=source_max_vpk
    )
    levels = _levels(law, choice, drive, job_ladder.fill_target)
    if job_ladder.hold_level:
        levels = held(levels, fill_low=job_ladder.fill_low, fill_target=job_ladder.fill_target)
    problems = [
        problem
        for coarse in choice.coarse
        if (problem := _undrivable(law, coarse, levels, drive, job_ladder, choice.asked_at[coarse])) is not None
    ]
    if problems:
        raise ConfigError(tuple(problems))
    visits = _visits(law, choice, job_ladder, cycle)
    if not visits:
        nothing = Problem(
            file=file, key="ladder", got="no settings", allowed="one channel, range, fine position, direction"
        )
        raise ConfigError((nothing,))
    return _rungs(law, visits, levels)


def _levels(law: GainLaw, choice: Choice, drive: Drive, fill_target_ratio: float) -> Levels:
    return {
        (coarse, fine): drive.level(law.predict(Setting(1, coarse, fine)).gain_codes_per_v, fill_target_ratio)
        for coarse, positions in choice.fine.items()
        for fine in positions
    }


def _undrivable(
    law: GainLaw, coarse: int, levels: Levels, drive: Drive, ladder: Ladder, asked_at: tuple[str, str]
) -> Problem | None:
    """The worst fine position of a range, if the source cannot fill the converter there as the job wants."""
    fills = {fine: level.fill_ratio for (index, fine), level in levels.items() if index == coarse}
    settable = drive.least_vpk <= drive.most_vpk
    bad = [fine for fine, fill in fills.items() if not (settable and ladder.fill_low <= fill <= ladder.fill_high)]
    if not bad:
        return None
    worst = max(bad, key=lambda fine: abs(fills[fine] - ladder.fill_target))
    name, level = law.coarse_names[coarse], levels[coarse, worst]
    got = (
        f"a range the source cannot drive: {name} at {law.fine_names[worst]} needs {level.needed_vpk:.4g} V peak "
        f"for a fill of {ladder.fill_target:g}; at {level.drive_vpk:.4g} V peak the fill is {level.fill_ratio:.3g}"
    )
    allowed = (
        f"fill {ladder.fill_low:g} to {ladder.fill_high:g} from {drive.least_vpk:.4g} V peak (the source) to "
        f"{drive.most_vpk:.4g} V peak ({drive.most_of}): leave the range out here, or use another source"
    )
    file, key = asked_at
    return Problem(file=file, key=key, got=got, allowed=allowed)


def _visits(law: GainLaw, choice: Choice, ladder: Ladder, cycle: int) -> list[tuple[Direction, Prediction]]:
    found: list[tuple[Direction, Prediction]] = []
    for channel in choice.channels:
        for direction in map(Direction, ladder.directions):
            turned = slice(None, None, 1 if direction is Direction.UP else -1)
            blocks = choice.coarse[turned]
            if ladder.order == "random-blocks":
                blocks = shuffled(blocks, f"{ladder.order_seed}/{cycle}/{channel}/{direction}")
            found.extend(
                (direction, law.predict(Setting(channel, coarse, fine)))
                for coarse in blocks
                for fine in choice.fine[coarse][turned]
            )
    return found


def shuffled(values: Sequence[int], seed: str) -> tuple[int, ...]:
    """Values in an order that looks random and is the same each time.

    Args:
        values: what to order.
        seed: any text; another text is another order.
    Returns:
        the same values, by the hash of seed and value.
    """
    return tuple(sorted(values, key=lambda value: hashlib.sha256(f"{seed}/{value}".encode()).digest()))


def _rungs(law: GainLaw, visits: list[tuple[Direction, Prediction]], levels: Levels) -> tuple[Rung, ...]:
    moved = toggles(law, [prediction for _, prediction in visits])
    found: list[Rung] = []
    for index, ((direction, prediction), relays) in enumerate(zip(visits, moved, strict=True)):
        level = levels[prediction.setting.coarse, prediction.setting.fine]
        found.append(
            Rung(
                index=index,
                direction=direction,
                prediction=prediction,
                drive_vpk=level.drive_vpk,
                fill_ratio=level.fill_ratio,
                relay_toggles=len(relays),
            )
        )
    return tuple(found)
