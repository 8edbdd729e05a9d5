"""Points without triangles: thinned, given normals, turned outward, brought together."""
