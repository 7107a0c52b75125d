"""What may be odd about a frame on the bus, by the decoder's own codes."""

from __future__ import annotations

from typing import Final

ODD_FRAMES: Final = ("long-frame", "short-frame", "re-latch", "broadcast", "clock-under-latch", "wrong-latch")
"""Codes of a decoder, and of who else took a frame; a fault that does not explain one that was seen is less likely."""
