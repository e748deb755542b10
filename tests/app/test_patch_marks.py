"""Dashes and dots on plan views: around patches and voids that show, nowhere else, and told in the caption."""

import numpy as np
import pytest
import shapely
from small_study import DIE, chip_on_plate

from plancha.app.field_pictures import hottest_picture, plates_as_drawn, temperature_picture
from plancha.app.patch_marks import marks_on_chip, marks_on_plan
from plancha.app.plan_drawing import Strokes
from plancha.app.plan_marks import DASHES, DOTS, add_broken_line
from plancha.app.plan_page import Sheet, frame_around
from plancha.app.shared_libraries import missing_libraries
from plancha.fem.findings import findings_of, solve_stack
from plancha.geometry.study_file import read_study

# The chip is 10 mm x 8 mm at (12 mm, 9 mm); half of the inlay's rim runs under it.
INLAY = 'patch = [{ at = ["5 mm", "5 mm"], size = ["12 mm", "20 mm"], material = "copper C11000" }]\n'
VOIDED = (
    '{ impedance = "20 mm^2 K/W", void = [{ at = ["14 mm", "11 mm"], size = ["3 mm", "2 mm"] }], '
    'patch = [{ at = ["19 mm", "11 mm"], size = ["2 mm", "2 mm"], impedance = "40 mm^2 K/W" }] }'
)


def stack_of_text(tmp_path, text):
    (tmp_path / "study.toml").write_text(text)
    return read_study(tmp_path / "study.toml").cases[0].stack


@pytest.fixture
def voided(tmp_path):
    text = chip_on_plate(head='accuracy = "10 %"', layers=(DIE, VOIDED))
    return stack_of_text(tmp_path, text.replace("[[component]]", INLAY + "[[component]]"))


def test_the_plan_shows_the_inlays_edge_beside_the_chip_and_all_of_the_void(voided):
    marks = marks_on_plan(voided, plates_as_drawn(voided))
    # 64 mm around the inlay, less 8 mm under the chip; and 8 mm around the joint's patch.
    assert marks.patches.length == pytest.approx((64 - 8 + 8) * 1e-3)
    assert marks.voids.length == pytest.approx(10e-3)


def test_the_chip_shows_the_inlays_edge_under_it(voided):
    marks = marks_on_chip(voided, voided.sources[0])
    assert marks.patches.length == pytest.approx((8 + 8) * 1e-3) and marks.voids.length == pytest.approx(10e-3)


def test_two_patches_side_by_side_share_one_line(tmp_path):
    halves = 'patch = [{ at = ["25 mm", "2 mm"], size = ["4 mm", "5 mm"], material = "nickel" }, '
    halves += '{ at = ["29 mm", "2 mm"], size = ["4 mm", "5 mm"], material = "copper C11000" }]\n'
    stack = stack_of_text(tmp_path, chip_on_plate().replace("[[component]]", halves + "[[component]]"))
    assert marks_on_plan(stack, plates_as_drawn(stack)).patches.length == pytest.approx((26 + 5) * 1e-3)


def test_a_patch_that_another_plate_hides_is_not_marked(tmp_path):
    text = (
        chip_on_plate().replace("[plate]", '[[plate]]\nname = "base"').replace("[cooling]", '[[cooling]]\non = "cold"')
    )
    text = text.replace('limit = "none"', 'limit = "none"\non = "base"')
    cold = '[[plate]]\nname = "cold"\nat = ["0 mm", "0 mm"]\nsize = ["50 mm", "30 mm"]\nthickness = "3 mm"\n'
    cold += 'material = "copper C11000"\non = "base"\ninterface = "perfect"\n'
    cold += 'patch = [{ at = ["36 mm", "5 mm"], size = ["8 mm", "6 mm"], material = "nickel" }]\n'
    stack = stack_of_text(tmp_path, text + cold)
    # The base reaches to 40 mm: of 28 mm around the patch, 4 + 6 + 4 mm lie beyond it.
    assert marks_on_plan(stack, plates_as_drawn(stack)).patches.length == pytest.approx(14e-3)


@pytest.mark.skipif(bool(missing_libraries()), reason="rendering needs the system's graphics libraries")
def test_captions_say_what_dashes_and_dots_are_only_where_they_are_drawn(voided, tmp_path):
    plain = stack_of_text(tmp_path, chip_on_plate(head='accuracy = "10 %"'))
    for stack, told in ((voided, True), (plain, False)):
        findings = findings_of(solve_stack(stack))
        for picture in (temperature_picture(findings, "as written"), hottest_picture(findings, "as written")):
            text = " ".join(words.text for words in picture.words)
            assert ("Dashed: edges of patches." in text) == ("Dotted: voids of joints." in text) == told


@pytest.mark.parametrize("pattern", [DASHES, DOTS])
def test_a_broken_line_lies_on_its_line_and_leaves_gaps(pattern):
    sheet = Sheet(frame_around([shapely.box(0, 0, 1e-2, 1e-2)], 0.03))
    ring = shapely.Point(5e-3, 5e-3).buffer(3e-3).exterior
    assert add_broken_line(sheet, ring, pattern)
    light, dark = (part for part in sheet.parts if isinstance(part, Strokes))
    assert light.width > dark.width and np.array_equal(light.segments, dark.segments)
    centre, radius = sheet.frame.pixels(np.array([5e-3, 5e-3])), 3e-3 * sheet.frame.scale
    assert np.linalg.norm(dark.segments - centre, axis=2) == pytest.approx(
        np.full((len(dark.segments), 2), radius), rel=0.01
    )
    drawn = np.linalg.norm(np.diff(dark.segments, axis=1), axis=2).sum()
    assert drawn / (ring.length * sheet.frame.scale) == pytest.approx(
        pattern.stroke / (pattern.stroke + pattern.gap), rel=0.05
    )


def test_a_line_beyond_the_panel_is_not_drawn():
    sheet = Sheet(frame_around([shapely.box(0, 0, 1e-2, 1e-2)], 0.03))
    assert not add_broken_line(sheet, shapely.LineString([(2e-2, 0), (3e-2, 0)]), DASHES) and not sheet.parts
