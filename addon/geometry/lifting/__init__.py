"""A part that lies on others, lifted off: which way, what is in its way, and what gives way to it."""
