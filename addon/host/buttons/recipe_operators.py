"""Recipes: what was done to this head as a file, and done again to the next one."""

import bpy

from ...geometry.errors import BadFile, CanthusError, NotReady
from ...job import recipe as recipes
from ...job.chain import SPARED
from ...job.versions import own_version
from ...steps.step import Step
from ..scene import scene_piece, states
from ..scene.settings import fill_in, stored
from .asking import OneFile
from .beside import beside_wanted
from .in_place import told
from .piece_operator import PieceOperator


class CANTHUS_OT_save_recipe(OneFile, bpy.types.Operator):
    bl_idname = "canthus.save_recipe"
    bl_label = "Save Recipe"
    bl_description = "Write the steps that made this head, with their settings, to a file"
    offered = "recipe.toml"

    filter_glob: bpy.props.StringProperty(default="*.toml", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not states.history_of(scene_piece.piece_collection(context)):
            cls.poll_message_set("Nothing was done yet: run a step first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        facts = states.facts_shown(scene_piece.piece_collection(context))
        path = self.path()
        try:
            steps = recipes.for_another(facts["history"])
            recipe = recipes.Recipe(name=facts["name"], inputs=(), steps=steps)
            path.write_text(recipes.written(recipe, own_version(), path.parent), encoding="utf-8")
        except OSError as error:
            self.report({"ERROR"}, f"{path}: cannot be written ({error.strerror})")
            return {"CANCELLED"}
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        self.report({"INFO"}, f"{len(steps)} steps written to {path}")
        return {"FINISHED"}


class CANTHUS_OT_run_recipe(OneFile, PieceOperator, bpy.types.Operator):
    bl_idname = "canthus.run_recipe"
    bl_label = "Run Recipe"
    bl_description = "Do the steps of a recipe file to the scan in this scene, and keep its settings in the panels"
    bl_options = {"UNDO"}
    spared = SPARED
    """As on the command line."""

    filter_glob: bpy.props.StringProperty(default="*.toml", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, "scan")

    def execute(self, context: bpy.types.Context) -> set[str]:
        return self.begin_work(context) if beside_wanted(context) else super().execute(context)

    def steps_to_run(self, context: bpy.types.Context) -> list[Step]:
        if not self.filepath:
            raise BadFile("no file was named: choose a recipe")
        steps = [each for each in recipes.read(self.path()).steps if each.NAME != "load"]
        if not steps:
            raise NotReady(f"{self.path().name} holds no step to run")
        for each in steps:
            fill_in(each, stored(context.scene, type(each)))
        return steps


CLASSES = (CANTHUS_OT_save_recipe, CANTHUS_OT_run_recipe)
