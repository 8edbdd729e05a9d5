"""Eyes placed from photographs marked by hand."""
