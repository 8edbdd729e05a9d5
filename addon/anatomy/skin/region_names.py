"""The regions of a head's skin by name. A module of its own, as the host lists them without what finds them."""

REGIONS = ("face", "lids", "eyes", "lips", "nose", "ears", "scalp", "neck", "orbit")
"""Names of the base's regions, as its file numbers them. `eyes` is what lies between the lids, `orbit` the skin round
them."""
REGION_COLUMN = "base_region"
"""Column of a fitted head with the region of each vertex."""
SKIN = (*REGIONS, "forehead", "chin", "beard")
"""Regions of the base, with the face divided: over the brows, round the mouth (`beard`), under it (`chin`)."""
FEWEST = 6
"""Landmarks that are needed to tell nose from lips."""
