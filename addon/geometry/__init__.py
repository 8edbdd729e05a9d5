"""Arrays in, arrays out: what every room above stands on. No heads, no files, no bpy."""
