"""The gallery of the examples: draws docs/pictures and writes docs/gallery.md, from the commands that a user would type.

`python examples/gallery.py` makes both anew (about a minute); `python examples/gallery.py --text` the page alone.
"""

import sys
import tempfile
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from plancha.app.cli import main

ROOT = Path(__file__).resolve().parent.parent
PAGE, PICTURES = ROOT / "docs" / "gallery.md", ROOT / "docs" / "pictures"
WIDEST = 1000  # of a picture in the manual [px]
FIELD, GREY = 112, 32  # colours of the palette from each of the two maps, and between black and white
INTRODUCTION = """\
# Gallery

Pictures that the commands below leave, made smaller for this page by `python examples/gallery.py`. All data is invented; the
questions and hand estimates stand in [the examples](../examples/README.md). Dark is low and light is high on every map, so that it
reads the same in grey and to the colour-blind; units stand on every axis and bar.
"""


@dataclass(frozen=True)
class Shown:
    """A picture of the gallery: its file in docs/pictures, the file that the command leaves, what it shows, words in its place."""

    command: str
    left: str
    name: str
    says: str
    alt: str


RADAR, BLOWER = "plancha solve examples/radar/study.toml", "plancha solve examples/side_blower/study.toml"
GALLERY = (
    Shown(
        RADAR,
        "temperature.png",
        "radar-temperature.png",
        "One processor, eight memories and six power stages on one copper plate: the whole plan, with isotherms.",
        "Plan of a copper plate coloured by temperature; hottest in the processor in the middle, cool towards both ends.",
    ),
    Shown(
        RADAR,
        "power_map.png",
        "radar-power-map.png",
        "The power as laid: the processor's map was drawn from the active side, the white triangle shows how it was turned.",
        "Plan coloured by power density: four hot cores in the processor, little in the parts around it.",
    ),
    Shown(
        RADAR,
        "spreading.png",
        "radar-spreading.png",
        "Spreading resistance of the plate under the processor, as a field.",
        "Plan of the plate coloured by rise per watt above its mean, highest under the processor and falling off to all sides.",
    ),
    Shown(
        "plancha measured examples/radar/study.toml examples/radar/readings.csv",
        "measured.png",
        "radar-measured.png",
        "A test's readings beside the model: what the study says is too cold everywhere.",
        "Two panels with a row for each of four probes: temperatures of reading and model on the left, residuals on the right.",
    ),
    Shown(
        'plancha rank examples/radar/study.toml --joint processor.grease --force "150 N"',
        "rank.png",
        "radar-rank.png",
        "What may fill the joint under the processor, ranked by the margin that is left at the end of life.",
        "A row for each candidate with bars for the margin new and aged and its spread, best at the top.",
    ),
    Shown(
        "plancha solve examples/laser_bar/study.toml",
        "chips.png",
        "laser-bar-emitters.png",
        "Five emitters of a laser bar, 800 W/cm2 and more.",
        "Face of a small bar coloured by temperature, with five hot stripes side by side at its front edge.",
    ),
    Shown(
        "plancha solve examples/sic_module/study.toml",
        "temperature.png",
        "sic-module-temperature.png",
        "Six silicon-carbide chips over a cold plate whose coefficient falls along the flow.",
        "Plan of a module with six chips on two islands, coloured by temperature; the right-hand column is the hottest.",
    ),
    Shown(
        "plancha solve examples/inlaid_base/study.toml",
        "chips.png",
        "inlaid-base-voids.png",
        "Voids in the solder under a die, from a picture: 8 % of the area, 16 K at the peak.",
        "Face of a die coloured by temperature; the hot spot lies over the void in the middle, other outlined voids show little.",
    ),
    Shown(
        "plancha solve examples/handheld_graphite/study.toml",
        "temperature.png",
        "handheld-graphite-temperature.png",
        "A graphite sheet with a grain, a window and a piece turned, on the back of a handheld device.",
        "Plan of a housing with a graphite sheet coloured by temperature: warm over the board, hottest at the converter.",
    ),
    Shown(
        "plancha solve examples/layered_chamber/study.toml",
        "temperature.png",
        "layered-chamber-temperature.png",
        "A vapour chamber as five layers, with wings and two flat heat pipes.",
        "Plan of a chamber with two pipes across it, all but even in temperature, the processor hotter in its middle.",
    ),
    Shown(
        BLOWER,
        "coolant.png",
        "side-blower-coolant.png",
        "Air that warms up on its way past two half bridges and a controller.",
        "Plan of the fins coloured by the air's temperature, cold at the left edge where it comes in, warm downstream of the parts.",
    ),
    Shown(
        BLOWER,
        "fan.png",
        "side-blower-fan.png",
        "Where the blowers' curve meets the resistance of fins, grille and bypass.",
        "Pressure against flow: a falling curve of the fans and a rising one of the resistance, their crossing marked.",
    ),
    Shown(
        "plancha solve examples/short_board/study.toml",
        "coefficient.png",
        "short-board-coefficient.png",
        "Two axial fans over fins: hubs and corners leave dead air.",
        "Plan of a bank of fins coloured by coefficient: high under the blades of two fans, low under their hubs and in the corners.",
    ),
    Shown(
        "plancha fans examples/short_board/study.toml",
        "fan_speeds.png",
        "short-board-fan-speeds.png",
        "Slower and faster: rise per watt and peak against the sound of the fans.",
        "Two panels against sound level: rise per watt and worst peak, both falling as the fans get louder, with the limits marked.",
    ),
    Shown(
        "plancha solve examples/cold_plate/study.toml",
        "coolant.png",
        "cold-plate-coolant.png",
        "Water and glycol past skived fins: the second module sits in warmer coolant.",
        "Plan of a cold plate coloured by the coolant's temperature, which rises under each of two modules in turn.",
    ),
    Shown(
        "plancha solve examples/outdoor_unit/study.toml",
        "temperature.png",
        "outdoor-unit-temperature.png",
        "A closed unit on a mast, without a fan: rising air and radiation.",
        "Plan of a finned back coloured by temperature, warm around its three power parts.",
    ),
)


def gallery_markdown() -> str:
    """The page of the gallery."""
    parts = [INTRODUCTION]
    for example, shown in groupby(GALLERY, key=example_of):
        parts.append(f"## [{example}](../examples/{example}/study.toml)\n")
        for command, pictures in groupby(shown, key=lambda each: each.command):
            parts.append(f"`{command}`\n")
            parts += [f"![{each.alt}](pictures/{each.name})\n\n{each.says}\n" for each in pictures]
    return "\n".join(parts)


def example_of(shown: Shown) -> str:
    """The example that a picture is of."""
    return shown.command.split("examples/")[1].partition("/")[0]


def draw() -> None:
    """Run every command once and take the pictures that the gallery shows."""
    import shlex

    for command, pictures in groupby(GALLERY, key=lambda each: each.command):
        with tempfile.TemporaryDirectory() as folder:
            assert main([*shlex.split(command)[1:], "-o", folder]) == 0
            for each in pictures:
                make_small(Path(folder) / each.left, PICTURES / each.name)


def make_small(source: Path, target: Path) -> None:
    """A picture no wider than WIDEST, on a palette of both colour maps and of greys: a third of the bytes, the same to the eye."""
    import numpy as np
    from PIL import Image
    from scipy.spatial import cKDTree

    from plancha.app.colours import COOL, WARM, colours

    image = Image.open(source).convert("RGB")
    if image.width > WIDEST:
        image = image.resize((WIDEST, round(image.height * WIDEST / image.width)), Image.Resampling.LANCZOS)
    greys = np.repeat(np.linspace(0, 255, GREY).astype(np.uint8), 3).reshape(-1, 3)
    palette = np.vstack([colours(WARM, FIELD), colours(COOL, FIELD), greys])
    pixels = np.asarray(image)
    found, which = np.unique(pixels.reshape(-1, 3), axis=0, return_inverse=True)
    nearest = cKDTree(palette).query(found)[1].astype(np.uint8)[which]  # exact; the image library's own search is not
    small = Image.fromarray(nearest.reshape(pixels.shape[:2]), mode="P")
    small.putpalette(palette.tobytes())
    small.save(target, optimize=True)


if __name__ == "__main__":
    import os

    os.chdir(ROOT)
    PAGE.write_text(gallery_markdown(), encoding="utf-8")
    if "--text" not in sys.argv:
        draw()
