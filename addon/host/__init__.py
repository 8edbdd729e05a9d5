"""Blender: operators, panels, mesh exchange, pictures. The only room that imports bpy."""
