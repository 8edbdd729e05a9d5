"""What the scene holds: objects as pieces of a workpiece, their looks and states."""
