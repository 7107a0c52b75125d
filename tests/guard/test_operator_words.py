"""What can stop a unit has words for the operator, in each language that comes along."""

from __future__ import annotations

import tomllib

import pytest

from harness.judge.claims.registry import CLAIMS
from harness.judge.lockout import LOCKS
from tests.guard.sources import ROOT

LANGUAGES = sorted((ROOT / "harness" / "line" / "languages").glob("*.toml"))


def test_there_are_languages():
    assert [path.stem for path in LANGUAGES] == ["de", "en"]


@pytest.mark.parametrize("path", LANGUAGES, ids=[path.stem for path in LANGUAGES])
def test_each_claim_and_each_lock_has_words(path):
    texts = tomllib.loads(path.read_text(encoding="utf-8"))
    wanted = {"item": [kind.item for kind in CLAIMS], "lock": list(LOCKS), "lift": list(LOCKS)}
    lacking = [f"[{table}] {name}" for table, names in wanted.items() for name in names if name not in texts[table]]
    assert lacking == [], f"{path.name}: add plain words for an operator"
