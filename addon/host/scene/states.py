"""How far a head has come: the steps that were done, and those to be done again as something before them changed."""

import functools
import json
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import bpy

from ...job.chain import CHAIN, FOR_SEVERAL_PASSES
from ...steps.catalogue import all_steps
from . import by_hand, exchange, scene_piece
from .needs import first_missing

DONE, STALE, TO_DO = "done", "stale", "to do"


def step_states(
    history: Sequence[str],
    touched: Mapping[str, int] = MappingProxyType({}),
    settings: Mapping[str, Mapping[str, Any]] = MappingProxyType({}),
) -> dict[str, str]:
    """Each step's name to `DONE`, `STALE` or `TO_DO`.

    Parameters
    ----------
    history : names of the steps that were run, oldest first
    touched : what was changed by hand, a kind of `by_hand.HOME`, to the number of steps that were done before
    settings : step to those it was last run with; the default ones where it is not there

    Notes
    -----
    A step is stale once something it looks at has changed: by a step that comes earlier in the trade's order and was
    run after it, or is stale itself; or by hand.
    """
    order = {step.NAME: place for place, step in enumerate(all_steps())}
    states = dict.fromkeys(order, TO_DO)
    last = {name: place for place, name in enumerate(history) if name in order}
    steps = {step.NAME: step for step in all_steps()}
    changed = {name: steps[name].changed_with(settings.get(name, {})) for name in last}
    for name in sorted(last, key=lambda each: order[each]):
        looked_at = steps[name].read_with(settings.get(name, {}))
        earlier = (other for other in last if order[other] < order[name] and changed[other] & looked_at)
        undone = any(last[other] > last[name] or states[other] == STALE for other in earlier)
        by_a_hand = any(
            done > last[name] and kind in looked_at and order[name] > order[by_hand.HOME[kind]]
            for kind, done in touched.items()
        )
        states[name] = STALE if undone or by_a_hand else DONE
    return states


def states_of(collection: bpy.types.Collection | None, scene: bpy.types.Scene) -> dict[str, str]:
    """`step_states` of a head as it stands in the scene, with what was moved by hand and no step has seen yet."""
    facts = facts_shown(collection)
    history = history_in(facts)
    settings = {str(each["name"]): each.get("settings", {}) for each in facts.get("history", ())}
    if collection is None or not facts:
        return step_states(history)
    moved = by_hand.moved_now(collection, str(collection[scene_piece.RECORD]), exchange.millimetres_per_unit(scene))
    return step_states(history, {**by_hand.kept(collection), **dict.fromkeys(moved, len(history))}, settings)


def next_step(states: Mapping[str, str]) -> tuple[str, bool] | None:
    """The step to press next, and whether it is to be done again; None once the parts are written.

    The first of all that is stale; else the first of the whole job that is not done, past the last one that is.
    """
    stale = next((name for name, state in states.items() if state == STALE), None)
    if stale is not None:
        return stale, True
    job = [*(name for name in CHAIN if name in states and name not in FOR_SEVERAL_PASSES), "export"]
    done = [place for place, name in enumerate(job) if states[name] == DONE]
    left = job[max(done, default=-1) + 1 :]
    return (left[0], False) if left else None


@functools.lru_cache(maxsize=8)
def facts_in(text: str) -> dict[str, Any]:
    """The record of a workpiece, read once a change: panels ask for it at every redraw. Damaged text gives {}."""
    try:
        facts = json.loads(text)
    except ValueError:
        return {}
    return facts if isinstance(facts, dict) else {}


def facts_shown(collection: bpy.types.Collection | None) -> dict[str, Any]:
    """What the panels show of a workpiece."""
    return {} if collection is None else facts_in(str(collection[scene_piece.RECORD]))


def held_by(collection: bpy.types.Collection | None) -> dict[str, bool]:
    """What there is of a head: anything, scan, head, skin, surface, landmarks, eyes; for `needs.first_missing`."""
    if collection is None:
        return {}
    roles = {scene_piece.role_of(thing).split("/")[0] for thing in collection.objects}
    scan = scene_piece.object_with(collection, "scan")
    surface = "head" in roles or (scan is not None and scan.type == "MESH" and len(scan.data.polygons) > 0)
    names = {"scan": "scan", "head": "head", "skin": "skin", "landmarks": "landmark", "eyes": "eye"}
    return {name: role in roles for name, role in names.items()} | {"piece": True, "surface": surface}


def ready(button: type[bpy.types.Operator], context: bpy.types.Context, *needs: str) -> bool:
    """Whether a button that changes the head can be pressed: nothing is at work, and what it needs is there."""
    return nothing_at_work(button, context) and there(button, context, *needs)


def nothing_at_work(button: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Whether no work goes on beside the window; where it does, the button greyed out says which."""
    progress = context.window_manager.canthus
    if progress.running:
        button.poll_message_set(f"{progress.title} is at work: wait, or press Esc")
    return not progress.running


def there(button: type[bpy.types.Operator], context: bpy.types.Context, *needs: str) -> bool:
    """Whether the scene holds what a button needs; where not, the button greyed out says what is missing."""
    lacking = first_missing(needs, held_by(scene_piece.piece_collection(context)))
    if lacking:
        button.poll_message_set(lacking)
    return not lacking


def history_of(collection: bpy.types.Collection | None) -> tuple[str, ...]:
    """Names of the steps that were run, oldest first, without those that refused and were left out."""
    return history_in(facts_shown(collection))


def history_in(facts: Mapping[str, Any]) -> tuple[str, ...]:
    """`history_of` a record."""
    done = facts.get("history", ())
    return tuple(str(each["name"]) for each in done if "left_out" not in each.get("figures", {}))


def free_mesh_active(button: type[bpy.types.Operator], context: bpy.types.Context, wanted: str) -> bool:
    """Whether the active object is a mesh that belongs to no head yet; where not, the button greyed out says so, and
    what is `wanted`.
    """
    thing = context.object
    if thing is None:
        button.poll_message_set(f"No object is active: select {wanted}")
    elif thing.type != "MESH":
        button.poll_message_set(f"{thing.name} is not a mesh: select {wanted}, or convert it")
    elif scene_piece.role_of(thing):
        button.poll_message_set(f"{thing.name} belongs to a head already: select {wanted}")
    else:
        return True
    return False
