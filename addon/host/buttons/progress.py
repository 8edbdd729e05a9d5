"""What the panel shows of work in hand. Held by the window manager, so it is never saved with a file."""

import bpy


class CANTHUS_PG_progress(bpy.types.PropertyGroup):
    running: bpy.props.BoolProperty()
    stop: bpy.props.BoolProperty(description="Asked to stop")
    title: bpy.props.StringProperty()
    what: bpy.props.StringProperty()
    seconds: bpy.props.IntProperty()
    fraction: bpy.props.FloatProperty(min=0.0, max=1.0)
