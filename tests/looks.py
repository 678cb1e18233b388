"""Pictures held against stored ones, with a tolerance for the renderer and the fonts.

HEADFIT_RENEW_IMAGES=1 stores the new ones instead; look at each before it is committed.
"""

from __future__ import annotations

import io
import os
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

FOLDER = Path(__file__).parent / "images"
# Means of blocks, out of 255. A glyph that is drawn a pixel farther changes a block by 10; a button
# that is missing, by 40 and more.
BLOCK_PX = 16
MOST_MEAN = 1.5
MOST_BLOCK = 28.0


def block_means(image: Image.Image) -> NDArray[np.float64]:
    """(rows, columns, 3) mean colour of blocks of 16 pixels."""
    pixels = np.asarray(image.convert("RGB"), np.float64)
    rows, columns = (size // BLOCK_PX for size in pixels.shape[:2])
    cut = pixels[: rows * BLOCK_PX, : columns * BLOCK_PX]
    return np.asarray(cut.reshape(rows, BLOCK_PX, columns, BLOCK_PX, 3).mean(axis=(1, 3)))


def differences(one: Image.Image, other: Image.Image) -> tuple[float, float]:
    """Mean and 99.8th percentile of the difference of block means."""
    gap = np.abs(block_means(one) - block_means(other)).max(axis=2)
    return float(gap.mean()), float(np.quantile(gap, 0.998))


def assert_looks_as_stored(png: bytes, name: str) -> None:
    """The picture is near enough to tests/images/NAME.png."""
    path = FOLDER / f"{name}.png"
    image = Image.open(io.BytesIO(png))
    if os.environ.get("HEADFIT_RENEW_IMAGES"):
        FOLDER.mkdir(exist_ok=True)
        image.convert("RGB").quantize(256, kmeans=2).save(path, optimize=True)
    stored = Image.open(path)
    assert image.size == stored.size
    mean, worst = differences(image, stored)
    assert mean <= MOST_MEAN, f"{name}: mean difference {mean:.1f}"
    assert worst <= MOST_BLOCK, f"{name}: largest differences {worst:.0f}"
