"""The pictures of the gallery: a script of docs/gallery leaves PNG files, each with its words here.

Sphinx-Gallery runs the scripts in the staged folder, where nothing of the checkout lies.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

from PIL import Image

# From the first head to whole studies.
ORDER = [
    "fit.py",
    "one_more.py",
    "difficult_head.py",
    "free_place.py",
    "compare.py",
    "unnamed.py",
    "sessions.py",
    "study.py",
    "lesson.py",
    "rules.py",
    "own_scan.py",
    "to_mne.py",
]
# What is to be seen, for whoever does not see it: a picture without its words stops the build.
PICTURES = {
    "compare.png": "The head from behind, with each mark of the cap and an arrow to its site",
    "difficult_head.png": "The head of a child from above, flat at the back on the right, with the "
    "ring in which each site lies",
    "free_place.png": "The head from behind, a round place round P3 that stays free, and P3 and P4 "
    "moved down and back",
    "lesson.png": "Line drawing of the head with the tape of the ring on it",
    "one_more.png": "Chart of how unsure each site is: by three tapes, and less with two more",
    "own_scan.png": "A scanned head from the front with the sites of 10-10 on it",
    "rules.png": "Chart of how far each site moves by another rule: at most some 16 mm",
    "sessions.png": "Chart of how far each site lies apart in two sessions, with and without the "
    "landmarks",
    "study.png": "Flat map of the head with the mean error and the 95 % ellipse of each site",
    "three_tapes.png": "The fitted head from the left, with arcs, sites and the ring in which each "
    "lies with 95 % probability",
    "to_mne.png": "The sites as mne draws a montage, from above in a circle",
    "unnamed.png": "The head from above with the marks, each now named by its site",
}
_WIDEST = 1200


def picture_scraper(_block: Any, block_vars: dict[str, Any], gallery_conf: dict[str, Any]) -> str:
    """What shows the pictures a code block left beside its script, which are taken away."""
    shown = []
    for path in sorted(Path(block_vars["src_file"]).parent.glob("*.png")):
        target = Path(next(block_vars["image_path_iterator"]))
        with Image.open(path) as image:
            image.thumbnail((_WIDEST, _WIDEST))
            image.convert("RGB").quantize(256).save(target, optimize=True)
        path.unlink()
        name = target.relative_to(gallery_conf["src_dir"]).as_posix()
        shown.append(
            f".. image-sg:: /{name}\n   :alt: {PICTURES[path.name]}\n   :srcset: /{name}\n"
            "   :class: sphx-glr-single-img\n"
        )
    return "\n".join(["", *shown, ""])


def leave_only_scripts(gallery_conf: dict[str, Any], _fname: str) -> None:
    """Take away what scripts wrote: the folder is as of a user who has just the scripts."""
    for folder in gallery_conf["examples_dirs"]:
        for path in (Path(gallery_conf["src_dir"]) / folder).iterdir():
            if path.is_dir():
                shutil.rmtree(path)
            elif path.suffix not in (".py", ".rst"):
                path.unlink()
