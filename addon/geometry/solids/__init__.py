"""Closed bodies joined, cut, keyed and pinned."""
