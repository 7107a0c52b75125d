"""Results handed on after each unit: files, a command, and the queue of what could not be."""
