"""The scan simulator: labelled captures with a known truth from any watertight head."""
