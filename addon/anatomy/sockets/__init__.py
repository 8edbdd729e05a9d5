"""Pockets for eyes, the way an eye goes in, and the eyes made for them."""
