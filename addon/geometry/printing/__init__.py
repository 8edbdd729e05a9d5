"""What a printer asks of a body: walls, hollows, openings, layers, which way up."""
