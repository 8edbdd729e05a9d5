"""Meshes of quads: subdivided, drawn onto a surface, unfolded, given texture."""
