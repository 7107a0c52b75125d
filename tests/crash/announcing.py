"""The command line, telling a pipe of each reading as soon as its `record` has returned.

Started as `python -m tests.crash.announcing PIPE COMMAND ...`; PIPE is the number of an inherited file descriptor.
"""

from __future__ import annotations

import os
import sys

from harness.app.main import main
from harness.store.recorder import RunRecorder
from harness.values import Reading

pipe = int(sys.argv.pop(1))
record = RunRecorder.record


def announcing(self: RunRecorder, reading: Reading) -> None:
    record(self, reading)
    os.write(pipe, f"{self.run_id} {reading.index}\n".encode())


RunRecorder.record = announcing  # type: ignore[method-assign]
main()
