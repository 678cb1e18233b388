"""Functions of higher rooms that methods of lower ones call: the only dependencies that point up.

A room is a subpackage; rooms import downwards only. `sites.to_mne()` is a method of anatomy/, but
its work needs files/. Such functions are listed here by name, and imported when one is called.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

HOOKS = {
    "comparison_methods": "headfit.comparing.methods:methods",
    "comparison_to_frame": "headfit.files.data_frames:comparison_to_frame",
    "comparison_verdict": "headfit.comparing.verdict:verdict",
    "head_to_pyvista": "headfit.files.mesh_libraries:head_to_pyvista",
    "head_to_trimesh": "headfit.files.mesh_libraries:head_to_trimesh",
    "marks_to_mne": "headfit.files.mne_positions:marks_to_mne",
    "measurements_to_frame": "headfit.files.data_frames:measurements_to_frame",
    "sites_to_frame": "headfit.files.data_frames:sites_to_frame",
    "sites_to_mne": "headfit.files.mne_positions:sites_to_mne",
    "step_drawing": "headfit.output.lesson_drawing:step_drawing",
    "step_scene": "headfit.output.lesson_scene:step_scene",
    "step_to_pyvista": "headfit.output.picture:step_to_pyvista",
    "small_drawing": "headfit.output.small_drawing:small_drawing",
}


def hook(name: str) -> Callable[..., Any]:
    """The function listed under a name.

    Raises
    ------
    KeyError
        No such name; only our own code asks.
    """
    module, _, function = HOOKS[name].partition(":")
    found: Callable[..., Any] = getattr(import_module(module), function)
    return found
