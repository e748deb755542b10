"""Voids, patches and uneven bond lines of interfaces: what images and maps say, where it lies, and what is refused."""

import struct
import zlib

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from small_study import DIE, GREASE, chip_on_plate

from plancha.geometry.draft import overlapping
from plancha.geometry.faults import StudyError
from plancha.geometry.joint_fields import MOST_VOIDS, polygons_of, read_void_image, tilted_and_bowed
from plancha.geometry.study_file import read_study

# The chip of the small study lies from (12, 9) to (22, 17) mm; its solder is 60 um of 50 W/m/K.
LINE = 'name = "solder", bond_line = "60 um", conductivity = "50 W/m/K"'
PICTURE = 'void_map = { file = "voids.png", void = "dark" }'
SQUARE = 'void = { at = ["13 mm", "10 mm"], size = ["2 mm", "2 mm"] }'
# What a viewer shows of the picture: one void in the corner at the upper left, a fifth wide, a quarter high.
PIXELS = np.full((8, 10), 255, np.uint8)
PIXELS[:2, :2] = 0


def study(*layers: str, add: str = "") -> str:
    return chip_on_plate(add, layers=(DIE, *layers))


def solder(variation: str) -> str:
    return f"{{ {LINE}, {variation} }}"


@pytest.fixture
def read(tmp_path):
    """The joint of the chip, and the notes, of the study written down."""

    def written(text: str):
        path = tmp_path / "study.toml"
        path.write_text(text, encoding="utf-8")
        return read_study(path).cases[0].stack

    return written


@pytest.fixture
def faults(read):
    def told(text: str) -> list[str]:
        with pytest.raises(StudyError) as caught:
            read(text)
        return [str(fault) for fault in caught.value.faults]

    return told


def save(tmp_path, pixels: np.ndarray, name: str = "voids.png", **more) -> None:
    Image.fromarray(pixels).save(tmp_path / name, **more)


def bounds_in_mm(joint) -> list[tuple[float, ...]]:
    return [tuple(np.round(np.array(patch.outline.bounds) * 1e3, 6)) for patch in joint.patches]


UPPER_LEFT = (12.0, 15.0, 14.0, 17.0)  # mm: x the first fifth of 12 to 22, y the last quarter of 9 to 17


@pytest.mark.parametrize("name", ["voids.png", "voids.bmp", "voids.tif", "voids.TIFF"])
def test_first_row_of_a_picture_is_the_top_and_its_left_is_the_left_seen_from_the_cooled_side(tmp_path, read, name):
    save(tmp_path, PIXELS, name)
    stack = read(study(solder(PICTURE.replace("voids.png", name))))
    assert bounds_in_mm(stack.joints[0]) == [UPPER_LEFT]
    assert stack.joints[0].patches[0].conductance == 0
    assert any("1 voids, 5 % of the contact" in note for note in stack.notes)


def test_light_voids_are_the_rest_of_a_picture_with_dark_voids(tmp_path, read):
    save(tmp_path, PIXELS)
    light = read(study(solder(PICTURE.replace("dark", "light")))).joints[0].patches
    assert sum(patch.outline.area for patch in light) == pytest.approx((80 - 4) * 1e-6, rel=1e-9)
    assert not light[0].outline.contains(shapely.Point(13e-3, 16e-3))


def test_mid_grey_parts_dark_from_light(tmp_path):
    save(tmp_path, np.array([[0, 127, 128, 255]], np.uint8))
    assert read_void_image(tmp_path / "voids.png", "voids.png", True).tolist() == [[1, 1, 0, 0]]
    assert read_void_image(tmp_path / "voids.png", "voids.png", False).tolist() == [[0, 0, 1, 1]]


def test_sixteen_bits_of_an_x_ray_camera_keep_their_greys(tmp_path):
    for name in ("deep.png", "deep.tif"):
        save(tmp_path, np.array([[0, 20000, 40000, 65535]], np.uint16), name)
        assert read_void_image(tmp_path / name, name, True).tolist() == [[1, 1, 0, 0]]


def test_what_is_transparent_is_white_paper(tmp_path):
    pixels = np.zeros((1, 2, 4), np.uint8)  # black, opaque then transparent
    pixels[0, 0, 3] = 255
    save(tmp_path, pixels)
    assert read_void_image(tmp_path / "voids.png", "voids.png", True).tolist() == [[1, 0]]


def test_a_photograph_is_turned_as_viewers_turn_it(tmp_path):
    said = Image.Exif()
    said[0x0112] = 3  # orientation: upside down
    save(tmp_path, PIXELS, "voids.jpg", exif=said, quality=100)
    voids = read_void_image(tmp_path / "voids.jpg", "voids.jpg", True)
    assert voids[:2, -2:].all() and voids.sum() == 4  # row 0 is the lowest: now at the lower right


def test_a_missing_picture_and_one_that_is_none_are_told_at_their_line(tmp_path, faults):
    text = study(solder(PICTURE))
    line = next(number for number, row in enumerate(text.splitlines(), 1) if "layers" in row)
    [missing] = faults(text)
    assert f"study.toml, line {line}, component" in missing and "void_map: voids.png: there is no such file" in missing
    (tmp_path / "voids.png").write_text("not a picture")
    [broken] = faults(text)
    assert "voids.png: it is no image that can be read; allowed: PNG, BMP, TIFF or JPEG" in broken


def test_a_picture_cut_short_is_told(tmp_path, faults):
    save(tmp_path, np.random.default_rng(0).integers(0, 255, (200, 200), np.uint8))
    whole = (tmp_path / "voids.png").read_bytes()
    (tmp_path / "voids.png").write_bytes(whole[: len(whole) // 2])
    assert "it is no image that can be read" in faults(study(solder(PICTURE)))[0]


@pytest.mark.parametrize("side", [2100, 12_000, 60_000])
def test_a_picture_too_large_is_refused_by_its_head_alone(tmp_path, faults, side):
    """Only the head says how large it is: nothing of such a size is ever unpacked, nor warned of on the side."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0))
    (tmp_path / "voids.png").write_bytes(b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", b"") + chunk(b"IEND", b""))
    [told] = faults(study(solder(PICTURE)))
    assert "the image has too many pixels" in told and "4000000 at most" in told


def test_a_picture_must_say_which_pixels_are_void_and_a_table_must_not(tmp_path, faults):
    save(tmp_path, PIXELS)
    [told] = faults(study(solder('void_map = { file = "voids.png" }')))
    assert "an image must say whether its voids are dark or light" in told
    (tmp_path / "voids.csv").write_text("0, 1\n")
    [told] = faults(study(solder('void_map = { file = "voids.csv", void = "dark" }')))
    assert "a CSV map gives shares: 0 is bonded, 1 is void" in told


def test_a_table_of_shares_counts_a_cell_as_void_from_one_half(tmp_path, read):
    (tmp_path / "voids.csv").write_text("0.5, 0.49, 0, 0, 0\n0, 0, 0, 0, 0\n0, 0, 0, 0, 0\n0, 0, 0, 0, 0\n")
    assert bounds_in_mm(read(study(solder('void_map = { file = "voids.csv" }'))).joints[0]) == [UPPER_LEFT]


def test_shares_above_one_are_refused(tmp_path, faults):
    (tmp_path / "voids.csv").write_text("0, 40\n0, 0\n")
    [told] = faults(study(solder('void_map = { file = "voids.csv" }')))
    assert "a share of void is at most 1" in told and "found: 40" in told and "0 (bonded) to 1 (void)" in told


@pytest.mark.parametrize("rows", ["0, x\n0, 0\n", "0, -1\n0, 0\n", "0, 0\n0\n"])
def test_a_table_that_cannot_be_read_is_told_with_its_own_line(tmp_path, faults, rows):
    (tmp_path / "voids.csv").write_text(rows)
    assert all("voids.csv" in told for told in faults(study(solder('void_map = { file = "voids.csv" }'))))


def test_only_the_largest_of_very_many_voids_count_and_the_rest_is_told(tmp_path, read):
    pixels = np.full((60, 60), 255, np.uint8)
    pixels[::3, ::3] = 0  # 400 single pixels
    pixels[0:2, 0:2] = 0
    save(tmp_path, pixels)
    stack = read(study(solder(PICTURE)))
    assert len(stack.joints[0].patches) == MOST_VOIDS
    assert max(patch.outline.area for patch in stack.joints[0].patches) == pytest.approx(4 * 80e-6 / 3600)
    assert any("400 voids: the 300 largest count" in note for note in stack.notes)


def test_a_speckled_picture_is_refused_with_the_cure(tmp_path, faults):
    save(tmp_path, np.random.default_rng(0).integers(0, 2, (400, 400), np.uint8) * np.uint8(255))
    [told] = faults(study(solder(PICTURE)))
    assert "the voids are in too many pieces" in told and "smooth the picture" in told


@given(st.integers(1, 14), st.integers(1, 14), st.integers(0, 2**32 - 1), st.sampled_from([0.2, 0.5, 0.8]))
@settings(max_examples=60, deadline=None)
def test_outlines_of_voids_keep_the_area_of_their_cells_and_never_overlap(rows, columns, seed, share):
    """Smoothing moves no rim by more than half a cell: the areas keep to half a cell's width along the rims, and mostly better."""
    cells = np.random.default_rng(seed).random((rows, columns)) < share
    outlines = polygons_of(cells, (1e-3, 2e-3, 1e-3 + columns * 1e-4, 2e-3 + rows * 1e-4))
    assert all(outline.is_valid for outline in outlines) and not overlapping(outlines)
    walls = np.diff(np.pad(cells.astype(int), 1), axis=0), np.diff(np.pad(cells.astype(int), 1), axis=1)
    rims = sum(np.abs(wall).sum() for wall in walls) * 1e-4
    area = sum(outline.area for outline in outlines)
    assert abs(area - cells.sum() * 1e-8) <= 0.5e-4 * rims + 1e-15
    if area:
        assert abs(area / (cells.sum() * 1e-8) - 1) < 0.1


def test_a_round_void_of_very_many_pixels_is_drawn_at_once_with_few_corners():
    y, x = np.mgrid[:2000, :2000]
    [outline] = polygons_of(np.hypot(x - 999.5, y - 999.5) < 900, (0.0, 0.0, 2.0, 2.0))
    assert outline.area == pytest.approx(np.pi * 0.9**2, rel=1e-3)
    assert len(outline.exterior.coords) < 4000


def test_voids_beside_the_contact_are_refused_and_those_across_its_rim_are_cut(read, faults):
    [told] = faults(study(solder('void = { center = ["30 mm", "20 mm"], diameter = "2 mm" }')))
    assert "it lies outside the contact of the two bodies" in told and "x 12 mm to 22 mm, y 9 mm to 17 mm" in told
    joint = read(study(solder('void = { at = ["11 mm", "10 mm"], size = ["3 mm", "2 mm"] }'))).joints[0]
    assert bounds_in_mm(joint) == [(12.0, 10.0, 14.0, 12.0)]


def test_voids_on_one_spot_are_refused_listed_or_mapped(tmp_path, faults):
    twice = SQUARE.replace("void = ", "void = [") + ', { center = ["14.5 mm", "11.5 mm"], diameter = "2 mm" }]'
    [told] = faults(study(solder(twice)))
    assert "two voids or patches of the interface lie on one spot" in told
    save(tmp_path, PIXELS)
    upper_left = SQUARE.replace('"10 mm"', '"15.5 mm"').replace('"2 mm"]', '"1 mm"]')
    [told] = faults(study(solder(f"{PICTURE}, {upper_left}")))
    assert "lie on one spot" in told and "x 13 mm to 14 mm, y 15.5 mm to 16.5 mm" in told


def test_a_void_as_large_as_the_interface_is_refused(tmp_path, faults):
    whole = "the whole interface is void: nothing joins the bodies"
    assert whole in faults(study(solder('void = { at = ["10 mm", "8 mm"], size = ["20 mm", "10 mm"] }')))[0]
    save(tmp_path, np.zeros((5, 7), np.uint8))
    assert whole in faults(study(solder(PICTURE)))[0]


def test_a_picture_without_voids_leaves_the_joint_even(tmp_path, read):
    save(tmp_path, np.full((5, 7), 255, np.uint8))
    assert read(study(solder(PICTURE))).joints[0].patches == ()


@pytest.mark.parametrize("tilt", ['tilt = ["120 um", "0 um"]', 'bow = "180 um"', 'tilt = ["70 um", "70 um"]'])
def test_a_bond_line_that_closes_somewhere_is_refused(faults, tilt):
    [told] = faults(study(solder(tilt)))
    assert "the bond line closes somewhere: tilt and bow are too large for it" in told


def test_a_tilted_bond_line_gains_from_left_to_right_and_from_bottom_to_top(read):
    for tilt, axis in (('tilt = ["60 um", "0 um"]', 1), ('tilt = ["0 um", "60 um"]', 0)):
        grid = read(study(solder(tilt))).joints[0].conductance
        assert (np.diff(grid.values, axis=axis) < 0).all()  # thicker, so it conducts less
        assert np.allclose(np.diff(grid.values, axis=1 - axis), 0)
        assert grid.bounds == pytest.approx((12e-3, 9e-3, 22e-3, 17e-3))


@given(st.floats(-50e-6, 50e-6), st.floats(-50e-6, 50e-6), st.floats(-50e-6, 50e-6))
def test_tilt_and_bow_leave_the_mean_bond_line_as_it_is(tilt_x, tilt_y, bow):
    lines = tilted_and_bowed(100e-6, (tilt_x, tilt_y), bow)
    assert lines.mean() == pytest.approx(100e-6, rel=1e-12)


def test_bow_is_by_how_much_corners_exceed_the_middle():
    lines = tilted_and_bowed(100e-6, (0.0, 0.0), 30e-6, cells=401)
    assert lines[0, 0] - lines[200, 200] == pytest.approx(30e-6, rel=0.01)  # middles of cells, short of the corners


def test_only_a_bond_line_with_a_conductivity_can_be_uneven(faults):
    [told] = faults(study('{ name = "solder", impedance = "2 mm^2 K/W", tilt = ["1 um", "0 um"] }'))
    assert "only a bond line with a conductivity can be tilted, bowed or mapped" in told


def test_a_mapped_bond_line_reads_like_the_picture(tmp_path, read, faults):
    (tmp_path / "line.csv").write_text("30, 60\n60, 90\n")
    text = study(solder('bond_line_map = { file = "line.csv" }'))
    grid = read(text).joints[0].conductance
    np.testing.assert_allclose(50 / grid.values, [[60e-6, 90e-6], [30e-6, 60e-6]])  # row 0 is the lowest
    (tmp_path / "line.csv").write_text("0, 60\n60, 90\n")
    [told] = faults(text)
    assert "the bond line closes somewhere" in told and "tilt" not in told


def test_a_mapped_bond_line_cannot_be_tilted_as_well(tmp_path, faults):
    (tmp_path / "line.csv").write_text("30, 60\n60, 90\n")
    [told] = faults(study(solder('bond_line_map = { file = "line.csv" }, bow = "5 um"')))
    assert "a bond line is mapped, or tilted and bowed, not both" in told


def test_perfect_contact_has_no_voids(faults):
    [told] = faults(study(f'{{ name = "solder", impedance = "0 mm^2 K/W", {SQUARE} }}'))
    assert "a perfect contact has no voids, patches, tilt or bow" in told


def test_an_unknown_material_of_a_voided_bond_line_is_told_once(faults):
    [told] = faults(study(f'{{ name = "solder", bond_line = "60 um", material = "tin-silver", {SQUARE} }}'))
    assert "tin-silver" in told and "perfect" not in told


def test_two_interfaces_in_a_row_cannot_tell_whose_the_voids_are(faults):
    [told] = faults(study(solder(SQUARE), GREASE))
    assert "must stand alone between two solids" in told and "put a thin solid between the two" in told


def test_a_patch_of_an_interface_has_an_impedance_and_nothing_else(faults, read):
    where = 'at = ["13 mm", "10 mm"], size = ["2 mm", "2 mm"]'
    joint = read(study(solder(f'patch = {{ {where}, impedance = "40 mm^2 K/W" }}'))).joints[0]
    assert joint.patches[0].conductance == pytest.approx(25000)
    for wrong in ('thickness = "1 mm"', 'impedance = "40 mm^2 K/W", material = "silicon"'):
        [told] = faults(study(solder(f"patch = {{ {where}, {wrong} }}")))
        assert "a patch of an interface has an impedance, and nothing else" in told
    [told] = faults(study(solder(f'patch = {{ {where}, impedance = "0 mm^2 K/W" }}')))
    assert "a patch of an interface needs an impedance above 0" in told


LID = """[[plate]]
name = "lid"
at = ["60 mm", "0 mm"]
size = ["10 mm", "10 mm"]
thickness = "1 mm"
material = "copper C11000"
on = "plate"
interface = { bond_line = "60 um", conductivity = "50 W/m/K", VARIATION }
"""


@pytest.mark.parametrize("variation", [SQUARE, PICTURE, 'bow = "5 um"'])
def test_voids_between_bodies_that_do_not_touch_add_nothing_to_that_fault(tmp_path, faults, variation):
    save(tmp_path, PIXELS)
    text = study(GREASE, add=LID.replace("VARIATION", variation))
    on = '\non = "plate"'
    for old, new in (("\n[plate]", "\n[[plate]]"), ('"chip"', f'"chip"{on}'), ("[cooling]", f"[cooling]{on}")):
        text = text.replace(old, new, 1)
    [told] = faults(text)
    assert "plate and lid do not touch" in told


def test_all_faults_of_uneven_interfaces_come_at_once_with_their_lines(tmp_path, faults):
    wrong = ", ".join(
        (
            'void = [{ center = ["1 mm", "1 mm"], diameter = "1 mm" }, { at = ["13 mm", "10 mm"], size = ["1 mm", "1 mm"] }]',
            'patch = { at = ["13 mm", "10 mm"], size = ["2 mm", "2 mm"], impedance = "9 mm^2 K/W" }',
            'void_map = { file = "none.png", void = "dark" }',
            'tilt = ["500 um", "0 um"]',
        )
    )
    told = faults(study(solder(wrong)))
    words = ("outside the contact", "on one spot", "none.png: there is no such file", "closes somewhere")
    assert [sum(word in each for each in told) for word in words] == [1, 1, 1, 1] and len(told) == 4
    assert all("study.toml, line " in each and 'component "chip", layer "solder"' in each for each in told)


def test_a_load_case_may_bring_a_map_of_its_own(tmp_path):
    save(tmp_path, PIXELS)
    text = (
        study(f"{{ {LINE} }}")
        + '[[case]]\nname = "voided"\nchip.solder.void_map = { file = "voids.png", void = "dark" }\n'
    )
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    plain, voided = (case.stack.joints[0] for case in read_study(tmp_path / "study.toml").cases)
    assert plain.patches == () and len(voided.patches) == 1
