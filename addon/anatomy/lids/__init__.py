"""Margins, forms and skins of lids, built on the globe they lie on."""
