"""The kinds of things a workpiece holds, as steps declare what they look at and what they change.

Its scan, head, skin, landmarks, frame (how it is posed), scale, eyes, parts, and of the parts the hair, which is made
by itself. From these it is told which steps a change makes stale.
"""

ALL = frozenset({"scan", "head", "skin", "landmarks", "frame", "scale", "eyes", "parts", "hair"})
NOTHING: frozenset[str] = frozenset()


def kinds(*names: str) -> frozenset[str]:
    """These kinds together. Raises ValueError where there is no such kind."""
    if unknown := set(names) - ALL:
        raise ValueError(f"no such kinds: {', '.join(sorted(unknown))}")
    return frozenset(names)


SCAN = kinds("scan")
SURFACE = kinds("scan", "head", "skin")
ON_SKIN = kinds("head", "landmarks", "frame", "scale")
