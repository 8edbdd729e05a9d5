"""The base head, its regions on any head, and the relief of skin."""
