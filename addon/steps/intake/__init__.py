"""Bringing captures in: load, assess, register."""
