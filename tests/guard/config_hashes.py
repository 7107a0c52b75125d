"""Limits and laws change only with a new version and a reason: the list of hashes, and the command that renews it.

`python -m tests.guard.config_hashes` writes the list; it refuses a file that changed under an old version.
"""

from __future__ import annotations

import hashlib
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path

from tests.guard.sources import ROOT

LIST = Path(__file__).parent / "config-hashes.toml"
COMMAND = "python -m tests.guard.config_hashes"
HEAD = f"# Written by `{COMMAND}`; do not edit.\n"


@dataclass(frozen=True)
class Entry:
    """A file as it was when the list was written."""

    version: int
    sha256: str


def read_list(text: str) -> dict[str, Entry]:
    return {name: Entry(**row) for name, row in tomllib.loads(text).items()}


def write_list(entries: dict[str, Entry]) -> str:
    rows = [
        f'"{name}" = {{ version = {it.version}, sha256 = "{it.sha256}" }}\n' for name, it in sorted(entries.items())
    ]
    return HEAD + "".join(rows)


def read_configs(root: Path = ROOT) -> dict[str, bytes]:
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in sorted((root / "configs").rglob("*.toml"))}


def entry_of(data: bytes) -> Entry:
    return Entry(version=tomllib.loads(data.decode())["version"], sha256=hashlib.sha256(data).hexdigest())


def history_faults(name: str, data: bytes) -> list[str]:
    """What is wrong with a file's own list of changes."""
    content = tomllib.loads(data.decode())
    versions = [change["version"] for change in content.get("change", [])]
    if versions != list(range(1, content["version"] + 1)):
        return [
            f"{name}: version {content['version']}, changes of versions {versions}; allowed: one [[change]] for each "
            "version from 1 up to the file's, newest last"
        ]
    return []


def list_faults(configs: dict[str, bytes], known: dict[str, Entry]) -> list[str]:
    """Where files and list differ; what to do about it."""
    faults = [f"{name}: in the list, but gone: run `{COMMAND}`" for name in sorted(known.keys() - configs.keys())]
    for name, data in configs.items():
        now, then = entry_of(data), known.get(name)
        if then is None:
            faults.append(f"{name}: not in the list: run `{COMMAND}`")
        elif now.sha256 != then.sha256 and now.version <= then.version:
            faults.append(
                f"{name}: the content changed, but the version is {now.version} (was {then.version}): raise `version`, "
                f"add a [[change]] with date, owner and reason, then run `{COMMAND}`"
            )
        elif now != then:
            faults.append(f"{name}: version {now.version} is new: run `{COMMAND}`")
    return faults


def main() -> int:
    configs = read_configs()
    known = read_list(LIST.read_text(encoding="utf-8")) if LIST.exists() else {}
    faults = [fault for name, data in configs.items() for fault in history_faults(name, data)]
    faults += [fault for fault in list_faults(configs, known) if "content changed" in fault]
    if faults:
        print("\n".join(faults), file=sys.stderr)
        return 1
    LIST.write_text(write_list({name: entry_of(data) for name, data in configs.items()}), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
