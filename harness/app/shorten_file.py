"""The ladder file of a short ladder: a new one, or the next version of one that is there."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from harness.config import DeviceFile, LadderFile, parse
from harness.errors import UsageError
from harness.ladder.short import ShortLadder
from harness.law import GainLaw
from harness.learn.write.toml import whole


def versions_of(path: Path) -> list[dict[str, object]]:
    """The changes of a ladder file that is there, oldest first; none without one. ConfigError for another file."""
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"--out {path}: cannot be read: {error}; name another file") from error
    return [change.model_dump() for change in parse(LadderFile, text, file=str(path)).change]


def ladder_text(
    short: ShortLadder,
    law: GainLaw,
    device: DeviceFile,
    *,
    detect: int,
    least_percent: float,
    before: list[dict[str, object]],
    date: dt.date,
    owner: str,
    reason: str,
) -> str:
    """The file as text: head, settings range by range, what they cover."""
    version = len(before) + 1
    tables: dict[str, object] = {
        "kind": "ladder",
        "version": version,
        "name": f"{device.name}, short",
        "device": device.name,
        "device_version": device.version,
        "change": [*before, {"version": version, "date": date, "owner": owner, "reason": reason}],
        "range": [
            {"coarse": name, "fine": list(fine)}
            for name, fine in zip(law.coarse_names, short.fine, strict=True)
            if fine
        ],
        "coverage": {
            "detect": detect,
            "settings": short.settings,
            "full_settings": len(law.coarse_names) * len(law.fine_names),
            "weakest_percent": round(least_percent, 6),
            "prediction_percent": round(short.prediction_percent, 4),
            "full_prediction_percent": round(short.full_prediction_percent, 4),
            "fault": [
                {"fault": one.fault, "entries": one.entries, "least": one.least, "full": one.full}
                for one in short.shown
            ],
        },
    }
    heading = "Written by gainladder shorten: every channel takes these settings. Every key: configs/README.md."
    return whole(tables, heading=heading)
