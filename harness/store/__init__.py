"""The durable record of every run: raw readings first, opinions later. The SQL of the house lives here."""

from harness.store.book import book_of, write_in_book
from harness.store.dropping import DROPPED_KIND, drop_raw
from harness.store.forward import Forwarder, Waiting, targets, waiting_for
from harness.store.notes import add_note, noted
from harness.store.opening import open_store
from harness.store.parquet import Exported, export_parquet
from harness.store.recorder import Clock, RunRecorder
from harness.store.store import Store
from harness.store.summary_row import keep_summary

__all__ = [
    "DROPPED_KIND",
    "Clock",
    "Exported",
    "Forwarder",
    "RunRecorder",
    "Store",
    "Waiting",
    "add_note",
    "book_of",
    "drop_raw",
    "export_parquet",
    "keep_summary",
    "noted",
    "open_store",
    "targets",
    "waiting_for",
    "write_in_book",
]
