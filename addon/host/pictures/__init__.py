"""Pictures for the report, and the scene that is saved."""
