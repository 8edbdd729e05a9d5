"""Taking away what is not skin: strays, lashes, doubled layers, noise."""
