"""Golden units, gauge studies, and a station by itself."""
