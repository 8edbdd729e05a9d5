"""The extension, registered once; an empty scene in millimetres for each test."""

import bpy
import pytest
from small_pieces import egg


@pytest.fixture(scope="session", autouse=True)
def extension():
    import canthus

    canthus.register()
    yield
    canthus.unregister()  # bpy 4.5 hangs or crashes at exit on anything left registered


@pytest.fixture(autouse=True)
def scene():
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    scene = bpy.context.scene
    scene.unit_settings.scale_length = 0.001
    return scene


@pytest.fixture
def piece():
    return egg()
