"""The operations of the trade, each declared once; `catalogue` lists them in order."""
