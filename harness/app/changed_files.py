"""Whether the files of a recorded run are still on disk as they were."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from harness.app.files import beside, shown
from harness.config import BenchFile, JobFile, parse
from harness.config.parse import sha256_of
from harness.errors import ConfigError, UsageError
from harness.values import ConfigFile, RunHeader

ADDRESSES = ("profile", "address", "also_at", "timeout_s", "termination", "baud", "via", "power_cycle", "boot_s")
"""Keys of a slot that say how an instrument is reached, not which one it is."""
LABELS = ("name", "version", "change", "device_file")
"""Keys of a bench file that say nothing about a reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What became of the files of a run."""

    changed: tuple[str, ...]
    """For people, one a file: changed, or not to be found."""
    bench: ConfigFile | None
    """The bench file on disk, where nothing but addresses differs; else None."""


def changes(header: RunHeader, *, job_path: str, bench_path: str) -> Changes:
    """Compare the files of a record with those on disk.

    Args:
        header: of the run.
        job_path: where the job is now; empty where the record says.
        bench_path: a bench file to go on with; empty for the run's own.
    """
    said: list[str] = []
    bench: ConfigFile | None = None
    paths = _paths(header, job_path, bench_path)
    for file in sorted(header.files, key=lambda file: file.role != "job"):
        path = paths[file.role]
        text = _text(path)
        if text is None and file.role == "job":
            said.append(f"{path} (job) is not there: say with --job where it is now")
            break
        if text is None:
            said.append(f"{path} ({file.role}) is not there")
        elif sha256_of(text) != file.sha256:
            if file.role == "bench":
                differences = _differences(file, text, path)
                if not differences:
                    bench = ConfigFile(role="bench", path=shown(path), version=0, sha256=sha256_of(text), text=text)
                    continue
                said.append(f"{path} (bench) is another bench: {', '.join(differences)}")
            else:
                said.append(f"{path} ({file.role}) has changed since the run began")
    return Changes(changed=tuple(said), bench=bench)


def _paths(header: RunHeader, job_path: str, bench_path: str) -> dict[str, str]:
    """Where each file of the record should be now. The record keeps no folder of an absolute path, the job does."""
    recorded = {file.role: file for file in header.files}
    paths = {"job": job_path or recorded["job"].path}
    job = parse(JobFile, recorded["job"].text, file=paths["job"])
    for role, name in (("device", job.device), ("bench", job.bench), ("limits", job.limits)):
        paths[role] = _where(recorded[role], beside(paths["job"], name))
    if "ladder" in recorded:
        paths["ladder"] = _where(recorded["ladder"], beside(paths["job"], job.ladder.file))
    paths["bench"] = bench_path or paths["bench"]
    bench = parse(BenchFile, recorded["bench"].text, file=paths["bench"])
    for role, file in recorded.items():
        slot: Any = getattr(bench, role.removesuffix("-profile"), None)
        if role not in paths:
            paths[role] = file.path if slot is None else _where(file, beside(paths["bench"], slot.profile))
    return paths


def _where(file: ConfigFile, named: str) -> str:
    return named if shown(named) == file.path else file.path


def _differences(recorded: ConfigFile, text: str, path: str) -> list[str]:
    """What of two bench files differs beside addresses and labels."""
    try:
        now = parse(BenchFile, text, file=path)
    except ConfigError as error:
        return [str(error)]
    before = parse(BenchFile, recorded.text, file=recorded.path)
    first, second = _compared(before), _compared(now)
    return [f"{key} differs" for key in first if first[key] != second[key]]


def _compared(bench: BenchFile) -> dict[str, Any]:
    content = bench.model_dump(exclude=set(LABELS))
    for key, value in content.items():
        if isinstance(value, dict) and "profile" in value:
            content[key] = {name: part for name, part in value.items() if name not in ADDRESSES}
    return content


def _text(path: str) -> str | None:
    try:
        return Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return None


def refuse_changes(header: RunHeader, *, job_path: str, bench_path: str, as_recorded: bool) -> Changes:
    """The changes, where there are none that matter or the user goes on all the same; else UsageError."""
    found = changes(header, job_path=job_path, bench_path=bench_path)
    if found.changed and not as_recorded:
        raise UsageError(
            f"run {header.run_id} is not resumed: {'; '.join(found.changed)}. Bring the files back, begin another run, "
            "or go on by the files in the record with --as-recorded"
        )
    return found
