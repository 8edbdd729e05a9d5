"""What of a shape may be laid on another before they are compared."""

from ..anatomy.skin.region_names import SKIN

FITS = ("none", "all", *SKIN)
"""Nothing of it, all of it, or one region."""
