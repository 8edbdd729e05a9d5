"""Runs steps in order, headless: recipe, report, command line."""
