"""Operators and panels, made from the steps, and the child process behind the long ones."""
