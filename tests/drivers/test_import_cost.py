from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def test_the_instrument_libraries_are_imported_only_with_a_link():
    names = ("pyvisa", "pyvisa_py", "serial")
    code = f"import sys, harness.drivers; print([name for name in {names} if name in sys.modules])"
    root = str(Path(__file__).resolve().parents[2])
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
