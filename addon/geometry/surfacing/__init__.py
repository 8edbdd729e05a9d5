"""A cloud made one watertight surface: the field, its walls against tunnels, its zero level, what was filled."""
