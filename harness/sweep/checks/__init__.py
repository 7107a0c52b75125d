"""What the self-check looks at before the ladder: level, cables, waits, contacts."""
