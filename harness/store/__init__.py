"""The durable record of every run: raw readings first, opinions later. The SQL of the house lives here."""

from harness.store.opening import open_store
from harness.store.recorder import Clock, RunRecorder
from harness.store.store import Store

__all__ = ["Clock", "RunRecorder", "Store", "open_store"]
