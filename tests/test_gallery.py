"""The gallery: its page is what the script writes, every picture is there, small, and no other; every example is in it."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from plancha.app.colours import COOL, WARM, colours

ROOT = Path(__file__).parent.parent
PICTURES = ROOT / "docs" / "pictures"
LARGEST = 150_000  # bytes

spec = importlib.util.spec_from_file_location("gallery", ROOT / "examples" / "gallery.py")
assert spec is not None and spec.loader is not None
gallery = importlib.util.module_from_spec(spec)
spec.loader.exec_module(gallery)


def test_the_page_in_docs_is_what_the_script_writes():
    page = (ROOT / "docs" / "gallery.md").read_text(encoding="utf-8")
    assert page == gallery.gallery_markdown(), "run python examples/gallery.py --text"


def test_every_picture_of_the_gallery_is_there_and_no_other():
    assert {path.name for path in PICTURES.iterdir()} == {each.name for each in gallery.GALLERY}


@pytest.mark.parametrize("path", sorted(PICTURES.glob("*.png")), ids=lambda path: path.name)
def test_pictures_are_small_and_whole(path):
    assert path.stat().st_size < LARGEST
    with Image.open(path) as image:
        image.load()
        assert image.width <= gallery.WIDEST and image.format == "PNG"


def test_every_example_is_in_the_gallery():
    assert {gallery.example_of(each) for each in gallery.GALLERY} == {
        path.parent.name for path in (ROOT / "examples").glob("*/study.toml")
    }


@pytest.mark.parametrize("colour_map", [WARM, COOL], ids=["warm", "cool"])
def test_a_picture_made_small_keeps_every_colour_of_the_maps(tmp_path, colour_map):
    """Each lies between two neighbours of the palette, so that it may be off by no more than their distance."""
    wanted = colours(colour_map, 256)
    Image.fromarray(np.repeat(wanted[None], 20, axis=0)).save(tmp_path / "large.png")
    gallery.make_small(tmp_path / "large.png", tmp_path / "small.png")
    with Image.open(tmp_path / "small.png") as small:
        kept = np.asarray(small.convert("RGB"), int)[0]
    steps = np.diff(colours(colour_map, gallery.FIELD).astype(int), axis=0)
    step = np.linalg.norm(steps, axis=1).max()
    assert np.linalg.norm(kept - wanted, axis=1).max() <= step < 10
