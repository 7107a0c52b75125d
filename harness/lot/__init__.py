"""Many runs at once: their summaries from a store or from Parquet, to the statistics of a lot."""

from harness.lot.analyse import Analysed, Asked, analyse
from harness.lot.choice import Head, Lot
from harness.lot.exported import ExportedLot
from harness.lot.stored import StoredLot
from harness.lot.text import lines_of

__all__ = ["Analysed", "Asked", "ExportedLot", "Head", "Lot", "StoredLot", "analyse", "lines_of"]
