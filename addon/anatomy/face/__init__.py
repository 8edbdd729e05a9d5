"""Landmarks: their names, published sizes, how they are found, and the frame they give."""
