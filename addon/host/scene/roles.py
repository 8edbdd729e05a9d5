"""What each object of a workpiece stands for: its role, a plain custom property."""

import bpy

ROLE = "canthus_role"


def role_of(thing: bpy.types.Object) -> str:
    """One of "scan", "head", "skin", "parts/eye-left", "landmark/sellion", "eye/left"; "" for what is not ours."""
    return str(thing.get(ROLE, ""))


def object_with(collection: bpy.types.Collection, role: str) -> bpy.types.Object | None:
    """The object of that role, or None. Two of one role: the one that is not a copy counts, the first by name."""
    return min((each for each in collection.objects if role_of(each) == role), key=lambda each: each.name, default=None)
