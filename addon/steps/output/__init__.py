"""Neck, hollow, parting, vents, the check and the files."""
