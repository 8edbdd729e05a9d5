"""Arrays in, arrays out: clouds, meshes, neighbours, fields, fitting, booleans. No heads, no files, no bpy."""
