"""Definite-length blocks of IEEE 488.2."""

from __future__ import annotations


def definite_block(payload: bytes) -> bytes:
    """`#`, the number of length digits, the length, the payload (at most 999 999 999 bytes); no terminator."""
    length = str(len(payload))
    return f"#{len(length)}{length}".encode() + payload
