"""The rooms of gainladder; DEVELOPERS.md holds the map and the import table."""
