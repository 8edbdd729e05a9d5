"""A part made for one surface carried onto another: its shape kept, its under side at an exact distance."""
