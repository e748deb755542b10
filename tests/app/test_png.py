"""PNG files: Pillow, which is independent of the writer, reads the image that was written, and its density."""

import io

import numpy as np
import pytest
from PIL import Image

from plancha.app.png import png_of


@pytest.mark.parametrize("shape", [(1, 1, 3), (7, 300, 3), (300, 7, 3)])
@pytest.mark.parametrize("even", [False, True])
def test_another_reader_finds_the_image_that_was_written(shape, even):
    image = np.full(shape, 200, np.uint8) if even else np.random.default_rng(1).integers(0, 256, shape, np.uint8)
    found = Image.open(io.BytesIO(png_of(image, 254)))
    found.verify()  # the checksums of all its parts
    found = Image.open(io.BytesIO(png_of(image, 254)))
    assert found.mode == "RGB" and np.array_equal(np.asarray(found), image)
    assert found.info["dpi"] == pytest.approx((254, 254))
