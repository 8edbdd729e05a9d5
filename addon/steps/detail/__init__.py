"""Base head, relief, hair and brows."""
