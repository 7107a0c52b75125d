"""The command line and the wiring: the only room that knows all others."""
