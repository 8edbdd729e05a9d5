"""Makes the base head: its quads drawn by code, laid on the demo head's published proportions."""
