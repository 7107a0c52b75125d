"""Damaged captures through `gainladder decode`: whatever comes in, no traceback goes out.

Run: python -m tests.fuzz_decode --seconds 600 [--seed N]
"""

from __future__ import annotations

import argparse
import io
import sys
import tempfile
import time
from collections import Counter
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import numpy as np

from harness.app.main import main as gainladder

DATA = Path(__file__).parent / "published" / "data"
WIRING = """kind = "wiring"
version = 1
name = "three-wire"
[[change]]
version = 1
date = 2026-11-25
owner = "gainladder maintainers"
reason = "first description"
[bus]
lines = ["data", "clock", "latch-1", "latch-2", "latch-bias"]
data = "data"
clock = "clock"
minimum_pulse_ns = 30.0
layout = [{ control = "pregain", bits = 1 }, { control = "code", bits = 8 }]
on_bus = [{ latch = "latch-1", bits = 9 }, { latch = "latch-2", bits = 9 }, { latch = "latch-bias", bits = 12 }]
timing = { setup_ns = 20.0, hold_ns = 20.0 }
"""
PIECES = (
    b"x",
    b"1",
    b"0",
    b"-1",
    b"1e400",
    b"nan",
    b"#",
    b"$end",
    b"\n",
    b",",
    b"\x00",
    b"\xff\xfe",
    b"9" * 30,
    b"$var wire 1 d data $end",
    b"time_s",
    b'"',
    b"#-5",
    b"b",
    b"$timescale",
    b"1e18,1,1,1,1,1\n",
    b" ",
    b"\r\n",
)
EXPECTED = {0, 2, 3}


def seeds() -> dict[str, bytes]:
    """Sound captures in every form."""
    from harness.bus import BusDevice, BusWiring, read_vcd

    lines = ("data", "clock", "latch_1", "latch_2", "latch_bias")
    wiring = BusWiring(
        lines=lines, data="data", clock="clock", clock_rising=True, latch_rising=True, minimum_pulse_ns=0.0,
        devices=(BusDevice(latch="latch_1", bits=9),),
    )  # fmt: skip
    found = {}
    for name in ("example", "faults"):
        text = (DATA / f"three-wire-{name}.vcd").read_text("ascii")
        found[f"{name}.vcd"] = text.encode()
        capture = read_vcd(text, wiring=wiring)
        rows = [
            [f"{t * 1e-9:.9f}", *(str(level >> k & 1) for k in range(5))]
            for t, level in zip(capture.times_ns.tolist(), capture.levels.tolist(), strict=True)
        ]
        head = ",".join(lines)
        found[f"{name}-events.csv"] = ("time_s," + head + "\n" + "\n".join(map(",".join, rows)) + "\n").encode()
        volts = [[row[0], *(f"{3.2 * int(cell) + 0.05:.2f}" for cell in row[1:])] for row in rows]
        volt_head = ",".join(f"{line}_v" for line in lines)
        found[f"{name}-volts.csv"] = ("time_s," + volt_head + "\n" + "\n".join(map(",".join, volts)) + "\n").encode()
        edges, before = ["time_ns,line,level"], 0
        for t, level in zip(capture.times_ns.tolist(), capture.levels.tolist(), strict=True):
            edges += [f"{t},{line},{level >> k & 1}" for k, line in enumerate(lines) if (level ^ before) >> k & 1]
            before = level
        found[f"{name}-edges.csv"] = ("\n".join(edges) + "\n").encode()
        grid = np.arange(0, int(capture.times_ns[-1]) + 100, 20)
        at = capture.times_ns.searchsorted(grid, side="right") - 1
        found[f"{name}.bin"] = np.where(at >= 0, capture.levels[at], capture.initial).astype(np.uint8).tobytes()
        events = (capture.times_ns.astype("<u8") << np.uint64(8)) | capture.levels
        head_bytes = b"GLC1" + np.array([0, capture.initial, events.size], dtype="<u4").tobytes()
        found[f"{name}.glc"] = head_bytes + events.astype("<u8").tobytes()
    return found


def mutate(content: bytes, rng: np.random.Generator) -> bytes:
    """A few random injuries."""
    changed = bytearray(content)
    for _ in range(int(rng.integers(1, 6))):
        at = int(rng.integers(0, len(changed) + 1))
        kind = int(rng.integers(0, 7))
        if kind == 0:
            changed[at : at + 1] = bytes([int(rng.integers(0, 256))])
        elif kind == 1:
            del changed[at : at + int(rng.integers(1, 60))]
        elif kind == 2:
            changed[at:at] = PIECES[int(rng.integers(0, len(PIECES)))]
        elif kind == 3:
            del changed[at:]
        elif kind == 4:
            end = at + int(rng.integers(1, 200))
            changed[at:at] = changed[at:end]
        elif kind == 5:
            other = int(rng.integers(0, len(changed) + 1))
            changed[at : at + 40], changed[other : other + 40] = changed[other : other + 40], changed[at : at + 40]
        else:
            changed[at : at + 8] = rng.integers(0, 256, 8).astype(np.uint8).tobytes()
    return bytes(changed)


def run(arguments: list[str]) -> tuple[int, str]:
    """The command in this process: its exit code and what it said on stderr."""
    out, err = io.StringIO(), io.StringIO()
    before = sys.argv
    sys.argv = ["gainladder", *arguments]
    try:
        with redirect_stdout(out), redirect_stderr(err):
            gainladder()
    except SystemExit as stop:
        return int(stop.code or 0), err.getvalue()
    finally:
        sys.argv = before
    return 0, err.getvalue()


def fuzz(seconds: float, seed: int, most: int = 10**9) -> tuple[Counter[int], list[str]]:
    """Exit codes, and what went wrong; a damaged file that did is kept beside the temporary folder."""
    rng = np.random.default_rng(seed)
    originals = seeds()
    names = sorted(originals)
    codes: Counter[int] = Counter()
    wrong: list[str] = []
    end_s = time.monotonic() + seconds
    with tempfile.TemporaryDirectory() as folder:
        wiring = Path(folder) / "wiring.toml"
        wiring.write_text(WIRING)
        while time.monotonic() < end_s and sum(codes.values()) < most:
            name = names[int(rng.integers(0, len(names)))]
            path = Path(folder) / name
            content = mutate(originals[name], rng)
            path.write_bytes(content)
            arguments = ["decode", str(path), "--rate", "50e6"]
            arguments += ["--wiring", str(wiring)] if rng.random() < 0.7 else []
            arguments += ["--json"] if rng.random() < 0.3 else []
            arguments += ["--csv", str(Path(folder) / "words.csv")] if rng.random() < 0.3 else []
            code, said = run(arguments)
            codes[code] += 1
            if code not in EXPECTED or "Traceback" in said:
                kept = Path(tempfile.gettempdir()) / f"fuzz-{seed}-{sum(codes.values())}-{name}"
                kept.write_bytes(content)
                wrong.append(f"{kept}: exit {code}: {said.strip().splitlines()[-1:]}")
    return codes, wrong


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    codes, wrong = fuzz(options.seconds, options.seed)
    print(f"{sum(codes.values())} runs, exit codes {dict(sorted(codes.items()))}")
    for line in wrong:
        print(line)
    sys.exit(1 if wrong else 0)
