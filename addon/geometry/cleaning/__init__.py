"""What the scanner added, taken away again: strays, bristles, noise, second skins."""
