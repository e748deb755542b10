"""Invented picture of solder voids under a die 12 mm square: run once, it writes voids.png and sound.png (10 pixels a millimetre)."""

from pathlib import Path

from PIL import Image, ImageDraw, PngImagePlugin

# Centre from the lower left corner of the die and diameter, in mm; light on dark, as a void is in an X-ray picture.
VOIDS = [(6.0, 6.0, 3.0), (2.5, 9.2, 1.4), (9.6, 9.0, 1.0), (9.0, 2.2, 1.6), (1.8, 3.0, 0.8), (4.6, 1.6, 0.6)]


def main() -> None:
    said = PngImagePlugin.PngInfo()
    said.add_text("Comment", "invented data: no such die was X-rayed")
    for name, voids in (("voids.png", VOIDS), ("sound.png", [])):
        picture = Image.new("L", (120, 120), 0)
        for x, y, diameter in voids:
            left, top, across = 10 * (x - diameter / 2), 120 - 10 * (y + diameter / 2), 10 * diameter - 1
            ImageDraw.Draw(picture).ellipse((left, top, left + across, top + across), fill=255)
        picture.save(Path(__file__).parent / name, pnginfo=said)


if __name__ == "__main__":
    main()
