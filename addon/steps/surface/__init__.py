"""From points to one closed surface: close, patch, drop-islands, smooth, reduce."""
