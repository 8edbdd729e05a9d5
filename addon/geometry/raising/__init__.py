"""Forms raised on a surface, held back where it would cross itself."""
