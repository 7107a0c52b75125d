"""The operator's page at the end of the line: a badge, a unit, a picture, a bar, a verdict."""
