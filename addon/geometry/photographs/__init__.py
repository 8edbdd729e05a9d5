"""Cameras found from marks, points found from cameras."""
