"""What a noun asks of a room above its own: the only arrows in the house that point up.

`sites.to_mne()` belongs to the noun, its work to the room of files. Each such door is declared here
by the module and function behind it, and opened when somebody calls.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

HOOKS = {
    "comparison_to_frame": "headfit.files.data_frames:comparison_to_frame",
    "head_to_pyvista": "headfit.files.mesh_libraries:head_to_pyvista",
    "head_to_trimesh": "headfit.files.mesh_libraries:head_to_trimesh",
    "marks_to_mne": "headfit.files.mne_positions:marks_to_mne",
    "measurements_to_frame": "headfit.files.data_frames:measurements_to_frame",
    "sites_to_frame": "headfit.files.data_frames:sites_to_frame",
    "sites_to_mne": "headfit.files.mne_positions:sites_to_mne",
    "small_drawing": "headfit.output.small_drawing:small_drawing",
}


def hook(name: str) -> Callable[..., Any]:
    """The function behind a declared door.

    Raises
    ------
    KeyError
        No such door; only our own code asks.
    """
    module, _, function = HOOKS[name].partition(":")
    found: Callable[..., Any] = getattr(import_module(module), function)
    return found
