"""Every step there is, in the order of the trade. The faces (command line, recipe, host) are made from this list."""

from ..geometry.errors import BadSetting
from .step import Step

STAGES = ("intake", "clean", "surface", "pose", "eyes", "detail", "output")


def all_steps() -> tuple[type[Step], ...]:
    """The step classes in the order a sculptor meets them. Imported here so that `step` stays light."""
    from .clean.cull_lashes import CullLashes
    from .clean.cull_strays import CullStrays
    from .clean.denoise import Denoise
    from .clean.merge_layers import MergeLayers
    from .detail.brows import Brows
    from .detail.fit_base import FitBase
    from .detail.fit_hair import FitHair
    from .detail.relief import Relief
    from .eyes.carve_sockets import CarveSockets
    from .eyes.make_eyes import MakeEyes
    from .eyes.place_eyes import PlaceEyes
    from .eyes.rebuild_lids import RebuildLids
    from .intake.assess import Assess
    from .intake.load import Load
    from .intake.register import Register
    from .output.check import Check
    from .output.export import Export
    from .output.hollow import Hollow
    from .output.key import Key
    from .output.neck import Neck
    from .output.vent import Vent
    from .pose.landmarks import Landmarks
    from .pose.measure import MeasureHead
    from .pose.pose import Pose
    from .pose.scale import Scale
    from .surface.close import Close
    from .surface.drop_islands import DropIslands
    from .surface.patch import Patch
    from .surface.reduce import Reduce
    from .surface.smooth import Smooth

    return (
        Load,
        Assess,
        Register,
        CullStrays,
        CullLashes,
        MergeLayers,
        Denoise,
        Close,
        Patch,
        DropIslands,
        Smooth,
        Reduce,
        Landmarks,
        Pose,
        MeasureHead,
        Scale,
        PlaceEyes,
        RebuildLids,
        CarveSockets,
        MakeEyes,
        FitBase,
        Relief,
        FitHair,
        Brows,
        Neck,
        Hollow,
        Key,
        Vent,
        Check,
        Export,
    )


def step_named(name: str) -> type[Step]:
    """The step of that name, or `BadSetting` listing the names there are."""
    steps = {step.NAME: step for step in all_steps()}
    if name not in steps:
        raise BadSetting(f"no step called {name!r}: there are {', '.join(steps)}")
    return steps[name]
