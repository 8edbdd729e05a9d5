"""A surface as it is seen from one side."""
