"""Brows found, drawn and raised as strokes; hair made for another head refitted to this one."""
