"""Meshes put right: welded, parted, patched, untangled, smoothed, reduced, each change listed."""
