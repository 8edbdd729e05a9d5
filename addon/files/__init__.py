"""File formats: PLY, OBJ, STL, XYZ and 3MF read and written as arrays, faults named to the byte or line."""
