"""What the stages of `gainladder learn` have found so far, in a file: a broken-off session goes on where it was."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from harness.app.output import write_file
from harness.bus import BusDevice, BusWiring
from harness.errors import UsageError
from harness.values import Setting

NAME = "notebook.json"
Answers = tuple[tuple[str, str, str], ...]
"""Question, answer, evidence."""


@dataclass(slots=True)
class Notebook:
    """The state of one session; every change is written at once."""

    path: Path
    hashes: dict[str, str]
    """sha256 of settings and bench file, by role."""
    wiring: BusWiring | None = None
    latches: dict[int, tuple[str, ...]] = field(default_factory=dict)
    answers: Answers = ()
    """Empty until the bus was listened to."""
    heard: bool = False
    scouted: dict[Setting, float] = field(default_factory=dict)
    """Gain at the device's input, codes a volt."""
    least_fill: float = 1.0
    """The least fill that any range could be brought to."""
    scouting_done: bool = False
    run: str = ""
    """The run in the store that holds the readings; empty before it has begun."""

    def save(self) -> None:
        """Write the whole notebook, or leave the old one; ReportError when it cannot be written."""
        content: dict[str, Any] = {
            "hashes": self.hashes,
            "wiring": None if self.wiring is None else asdict(self.wiring),
            "latches": {str(channel): list(latches) for channel, latches in self.latches.items()},
            "answers": [list(answer) for answer in self.answers],
            "heard": self.heard,
            "scouted": [[s.channel, s.coarse, s.fine, gain] for s, gain in self.scouted.items()],
            "least_fill": self.least_fill,
            "scouting_done": self.scouting_done,
            "run": self.run,
        }
        write_file(self.path, json.dumps(content, indent=1) + "\n")


def open_notebook(folder: Path, hashes: Mapping[str, str], *, anew: bool) -> Notebook:
    """The notebook of a folder, or a new one.

    UsageError when it belongs to other files, or cannot be read.
    """
    path = folder / NAME
    if anew or not path.exists():
        return Notebook(path=path, hashes=dict(hashes))
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        found = _read(path, content)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise UsageError(f"{path}: no notebook of a session: {error}; --anew begins another one") from error
    if found.hashes != dict(hashes):
        changed = ", ".join(role for role, value in hashes.items() if found.hashes.get(role) != value)
        raise UsageError(f"{path}: begun with another {changed} file; --anew begins another session")
    return found


def _read(path: Path, content: Mapping[str, Any]) -> Notebook:
    wiring = content["wiring"]
    return Notebook(
        path=path,
        hashes=dict(content["hashes"]),
        wiring=None if wiring is None else _wiring(wiring),
        latches={int(channel): tuple(latches) for channel, latches in content["latches"].items()},
        answers=tuple((str(a), str(b), str(c)) for a, b, c in content["answers"]),
        heard=bool(content["heard"]),
        scouted={Setting(int(c), int(r), int(f)): float(gain) for c, r, f, gain in content["scouted"]},
        least_fill=float(content["least_fill"]),
        scouting_done=bool(content["scouting_done"]),
        run=str(content["run"]),
    )


def _wiring(content: Mapping[str, Any]) -> BusWiring:
    devices = tuple(BusDevice(**device) for device in content["devices"])
    return BusWiring(**{**content, "lines": tuple(content["lines"]), "devices": devices})
