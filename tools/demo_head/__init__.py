"""The demo head: a portrait sculpted by code from published adult proportions."""
