"""Pictures: what is where in pixels, words that do not overlap, colours that keep their order in grey, drawing that fails."""

import itertools

import numpy as np
import pytest
import shapely

from plancha.app import pictures, plan_drawing
from plancha.app.colours import COOL, WARM, colours
from plancha.app.contours import fine_triangles, isolines
from plancha.app.field_pictures import drawn_faces, hottest_picture, spreading_picture, temperature_picture
from plancha.app.label_places import Box, box_around, overlap_areas, overlaps
from plancha.app.pictures import PictureFailed, draw_pictures, show_window
from plancha.app.plan_drawing import Picture, Strokes, Words, render, text_size, wrapped
from plancha.app.plan_marks import FEW_NAMES, add_names
from plancha.app.plan_page import (
    Sheet,
    finished,
    frame_around,
    multiples,
    nice_step,
    number_text,
    scale_of,
)
from plancha.app.power_picture import first_cell_corner, power_picture
from plancha.app.shared_libraries import INSTALL_LINE, missing_libraries
from plancha.fem.findings import findings_of, solve_stack
from plancha.fem.plan import locate, plan_space
from plancha.geometry.mesh import PlanMesh
from plancha.geometry.power_map_file import read_power_map
from plancha.geometry.study import MapFile
from plancha.geometry.study_file import read_study

pytestmark = pytest.mark.skipif(bool(missing_libraries()), reason="rendering needs the system's graphics libraries")

HEAD = """
title = "pictures (invented)"
ambient = "25 degC"
[plate]
size = ["{width} mm", "{height} mm"]
thickness = "2 mm"
material = {{ name = "metal", conductivity = "200 W/m/K" }}
[cooling]
coefficient = "3000 W/m^2/K"
"""
PART = """
[[component]]
name = "{name}"
at = ["{x} mm", "{y} mm"]
size = ["{width} mm", "{height} mm"]
limit = "90 degC"
power = "{watts} W"
layers = [{{ material = {{ name = "die", conductivity = "120 W/m/K" }}, thickness = "0.5 mm" }},
          {{ impedance = "20 mm^2 K/W" }}]
"""


def part(name, x, y, width, height, watts=10):
    return PART.format(name=name, x=x, y=y, width=width, height=height, watts=watts)


# Invented. Off the middle in both directions; small ones in rows; a bar on a small carrier; slim plates.
STUDIES = {
    "one": HEAD.format(width=40, height=30) + part("chip", 26, 20, 6, 4, 30),
    "twelve": HEAD.format(width=80, height=60)
    + "".join(part(f"stage {n}", 8 + 9 * (n % 4), 10 + 12 * (n // 4), 5, 6, 5 + n % 5) for n in range(12)),
    "bar": HEAD.format(width=5, height=5) + part("laser bar", 2, 2, 1, 1, 5),
    "wide": HEAD.format(width=200, height=20) + part("converter A", 20, 5, 10, 10) + part("converter B", 32, 5, 10, 10),
    "tall": HEAD.format(width=20, height=200) + part("a part whose name is longer than the plate", 5, 60, 9, 9),
    "covered": HEAD.format(width=20, height=20) + part("as large as the plate", 0, 0, 20, 20, 50),
}


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Findings of the studies above by name, each solved once."""
    folder, solved = tmp_path_factory.mktemp("studies"), {}

    def of(name):
        if name not in solved:
            path = folder / f"{name}.toml"
            path.write_text(STUDIES[name])
            solved[name] = findings_of(solve_stack(read_study(path).cases[0].stack))
        return solved[name]

    return of


def pixel(picture, x, y):
    """Row and column of the image where a point of the drawing plane lies."""
    return int(picture.window.top - y), int(x - picture.window.left)


def plan_pixel(frame, picture, point):
    x, y = (np.asarray(point) - frame.bounds[:2]) * frame.scale
    return pixel(picture, x, y)


def frame_of(findings):
    return frame_around([body.outline for body in findings.solution.sheets.stack.bodies], 0.03)


def test_the_four_pictures_are_written_with_something_on_them(found, tmp_path):
    from PIL import Image

    written = draw_pictures(found("one"), "as written", tmp_path)
    assert [path.name for path in written] == ["temperature.png", "chips.png", "spreading.png", "power_map.png"]
    assert sorted(written) == sorted(tmp_path.iterdir())
    for path in written:
        with Image.open(path) as image:
            assert image.info["dpi"] == pytest.approx((254, 254), rel=1e-3)
            assert 1150 <= image.width <= 1600
            grey = np.asarray(image.convert("L"))
        assert 10_000 < path.stat().st_size < 1_000_000
        assert np.ptp(grey) > 200 and 0.2 < (grey < 250).mean() < 0.95


def test_the_hot_spots_cross_lies_where_the_peak_is(found):
    findings = found("one")
    picture = temperature_picture(findings, "as written")
    peak = findings.components[0].peak.point
    row, column = plan_pixel(frame_of(findings), picture, peak)
    image = render(picture).astype(int).sum(axis=2)
    dark = image < 3 * 60
    # The chip is light where it is hottest; the cross has two dark arms of 15 pixels and nothing between them.
    assert dark[row - 12 : row + 13, column].all() and dark[row, column - 12 : column + 13].all()
    assert not any(dark[row + i, column + j] for i in (-7, 7) for j in (-7, 7))
    # Upper right of the middle, like the chip.
    assert row < image.shape[0] / 2 and column > image.shape[1] / 2


def test_a_pixels_colour_is_the_temperature_at_its_place(found):
    findings = found("one")
    solution, sheets = findings.solution, findings.solution.sheets
    picture = temperature_picture(findings, "as written")
    image, frame = render(picture).astype(int), frame_of(findings)
    values = np.concatenate([face.values[np.isfinite(face.values)] for face in drawn_faces(solution)])
    low, high = values.min(), values.max()
    table = colours(WARM).astype(int)
    places = {"plate": [(0.003, 0.003), (0.037, 0.004), (0.005, 0.026), (0.021, 0.021)], "chip": [(0.0312, 0.0232)]}
    for body, points in ((0, places["plate"]), (1, places["chip"])):
        for point in points:
            colour = image[plan_pixel(frame, picture, point)]
            shown = low + (high - low) * np.abs(table - colour).sum(axis=1).argmin() / 255
            element, shapes = locate(sheets.space, point, sheets.slabs[body].pattern.elements)
            exact = shapes @ solution.face(body, 0)[sheets.space.element_nodes[element]] - 273.15
            assert shown == pytest.approx(exact, abs=2 / 255 * (high - low))  # two steps of the map


def every_picture(findings):
    views = {"chip": MapFile(file="map.csv", unit="W", seen_from="cooled side")}
    return [
        temperature_picture(findings, "as written"),
        hottest_picture(findings, "as written"),
        spreading_picture(findings, "a load case with a name that goes on and on " * 4),
        power_picture(findings, "as written", views),
    ]


@pytest.mark.parametrize("name", STUDIES)
def test_no_words_overlap_or_leave_the_picture(found, name):
    for picture in every_picture(found(name)):
        boxes = [words.box for words in picture.words]
        for number, box in enumerate(boxes):
            assert not overlaps(box, boxes[number + 1 :]), picture.words[number].text
            assert overlap_areas(box, [picture.window])[0] == pytest.approx(box.width * box.height)


@pytest.mark.parametrize("name", ["twelve", "wide"])
def test_words_are_drawn_inside_their_boxes(found, name):
    for picture in every_picture(found(name))[::2]:
        image = render(Picture(picture.window, (), picture.words))
        inked = np.asarray(image.min(axis=2) < 250)
        assert inked.mean() > 0.005
        for words in picture.words:
            top, left = pixel(picture, words.box.left, words.box.top)
            bottom, right = pixel(picture, words.box.right, words.box.bottom)
            assert inked[top - 1 : bottom + 2, left - 1 : right + 2].any(), words.text
            inked[top - 1 : bottom + 2, left - 1 : right + 2] = False
        assert not inked.any()


def test_words_are_eight_points_or_more_in_a_picture_of_160_mm(found):
    for words in temperature_picture(found("twelve"), "as written").words:
        assert words.size * 72 / (1600 / 160 * 25.4) > 7.9


def test_few_parts_are_named_on_the_plan_and_many_are_numbered(found):
    words = [words.text for words in temperature_picture(found("one"), "as written").words]
    assert "chip" in words
    words = [words.text for words in temperature_picture(found("twelve"), "as written").words]
    assert {"1: stage 0", "12: stage 11", "1", "12"} <= set(words) and "stage 0" not in words


def test_a_hundred_small_parts_are_all_listed_and_no_number_covers_another_part():
    shapes = [shapely.box(x, y, x + 1.2e-3, y + 1.2e-3) for x in np.arange(10) * 4e-3 for y in np.arange(10) * 4e-3]
    sheet = Sheet(frame_around([shapely.box(-2e-3, -2e-3, 42e-3, 42e-3)], 0.03))
    names = [f"part {n}" for n in range(100)]
    assert len(names) > FEW_NAMES
    add_names(sheet, names, shapes)
    assert [line.split(": ")[1].removesuffix(" (no room for its number)") for line in sheet.legend] == names
    numbered = [line for line in sheet.legend if "no room" not in line]
    assert len(numbered) == len(sheet.words) > 50
    boxes = [sheet.frame.box(shape) for shape in shapes]
    assert not any(overlaps(words.box, boxes) for words in sheet.words)  # 1.2 mm is less than a number's height
    scale = scale_of("power [W]", [np.array([0.0, 1.0])], COOL)
    page = finished(sheet, "title", "subtitle", scale, ["caption"])
    boxes = [words.box for words in page.words]
    assert not any(overlaps(box, boxes[n + 1 :]) for n, box in enumerate(boxes))


def test_the_spreading_picture_says_maximum_and_mean_over_the_footprint(found):
    findings = found("one")
    text = " ".join(words.text for words in spreading_picture(findings, "as written").words).replace("\u00a0", " ")
    resistance = findings.spreading[0]
    assert f"maximum {resistance.maximum:#.3g} K/W (cross), mean {resistance.mean:#.3g} K/W" in text


ORIENTATIONS = list(itertools.product(["cooled side", "active side"], [False, True], range(-3, 4)))


@pytest.mark.parametrize(("seen_from", "mirror", "turns"), ORIENTATIONS)
def test_the_mark_stands_in_the_corner_where_the_files_first_cell_is_read_to(tmp_path, seen_from, mirror, turns):
    (tmp_path / "map.csv").write_text("9,1,1\n1,1,1\n")
    view = MapFile(file="map.csv", unit="W", seen_from=seen_from, mirror=mirror, quarter_turns=turns)
    laid = read_power_map(
        tmp_path / "map.csv",
        width=0.02,
        height=0.01,
        unit="W",
        seen_from=seen_from,
        mirror=mirror,
        quarter_turns=turns,
    )
    row, column = np.unravel_index(laid.watts.argmax(), laid.watts.shape)
    assert first_cell_corner(view) == (int(column > 0), int(row > 0))  # row 0 is the bottom row


@pytest.mark.parametrize(("seen_from", "mirror", "turns"), ORIENTATIONS)
def test_the_mark_of_a_table_stands_at_the_origin_of_its_blocks(tmp_path, seen_from, mirror, turns):
    head = "x [mm],y [mm],width [mm],height [mm],power [W]\n"
    (tmp_path / "map.csv").write_text(f"{head}0,0,2,2,9\n")
    view = MapFile(file="map.csv", seen_from=seen_from, mirror=mirror, quarter_turns=turns)
    laid = read_power_map(
        tmp_path / "map.csv", width=0.02, height=0.01, seen_from=seen_from, mirror=mirror, quarter_turns=turns
    )
    row, column = np.unravel_index(laid.watts.argmax(), laid.watts.shape)
    assert first_cell_corner(view) == (int(column > 0), int(row > 0))


@pytest.mark.parametrize("turns", range(4))
def test_the_corner_mark_is_white_in_the_picture_and_explained(found, turns):
    view = MapFile(file="map.csv", unit="W", seen_from="cooled side", quarter_turns=turns)
    picture = power_picture(found("one"), "as written", {"chip": view})
    image = render(picture).astype(int)
    marked = picture.spots["first cell of chip"]
    assert image[pixel(picture, *marked)].sum() > 3 * 245
    middle = np.mean([part.corners.mean(axis=0) for part in picture.parts if hasattr(part, "corners")], axis=0)
    assert middle == pytest.approx(marked)
    outline = frame_around([found("one").solution.sheets.stack.sources[0].outline], 0.1).panel.middle
    x, y = first_cell_corner(view)
    assert (marked[0] > outline[0]) == bool(x) and (marked[1] > outline[1]) == bool(y)
    assert any("first cell of the file" in words.text for words in picture.words)


def test_no_mark_and_no_word_of_it_without_a_map(found):
    picture = power_picture(found("one"), "as written", {})
    assert not picture.spots and not any("triangle" in words.text for words in picture.words)


def lightness(rgb):
    """CIE L* of sRGB (IEC 61966-2-1, CIE 15; from memory)."""
    c = rgb / 255
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    y = linear @ [0.2126, 0.7152, 0.0722]
    return np.where(y > (6 / 29) ** 3, 116 * np.cbrt(y) - 16, y * (29 / 3) ** 3)


@pytest.mark.parametrize("colour_map", [WARM, COOL])
def test_lightness_rises_evenly_from_end_to_end(colour_map):
    light = lightness(colours(colour_map).astype(float))
    even = np.linspace(light[0], light[-1], len(light))
    assert light[0] < 25 and light[-1] > 90
    # Eight bits to a channel are good for half a unit of L* in dark blue.
    assert np.abs(light - even).max() < 0.6
    assert np.diff(light[::4]).min() > 0


@pytest.fixture(scope="module")
def square():
    """Quadratic functions on the unit square in 32 triangles."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.linspace(0, 1, 5), np.linspace(0, 1, 5)))
    corner = (np.arange(4)[:, None] * 5 + np.arange(4)).ravel()[:, None]
    return plan_space(
        PlanMesh(np.column_stack([x, y]), np.vstack([corner + np.array(t) for t in ([0, 1, 6], [0, 6, 5])]))
    )


@pytest.mark.parametrize("parts", [1, 2, 4])
def test_fine_triangles_cover_the_plan_and_lie_on_the_polynomial(square, parts):
    def quadratic(points):
        return 1 + points @ [2, 3] + (points**2) @ [4, -5] + 6 * points.prod(axis=1)

    points, triangles, values = fine_triangles(square, np.arange(32), quadratic(square.nodes), parts)
    assert len(triangles) == 32 * parts**2
    a, b, c = (points[triangles[:, i]] for i in range(3))
    doubled = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    assert doubled.sum() / 2 == pytest.approx(1, rel=1e-12) and doubled.min() > 0
    assert values == pytest.approx(quadratic(points), abs=1e-12)


def test_the_isoline_of_a_round_hill_is_its_circle(square):
    values = ((square.nodes - 0.5) ** 2).sum(axis=1)
    fine = fine_triangles(square, np.arange(32), values, 4)
    segments = isolines(*fine, 0.4**2)
    length = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1).sum()
    # Chords of triangles with sides of 1/16: the sagitta is h^2 / 8 r, here 0.1 %.
    assert np.linalg.norm(segments - 0.5, axis=2) == pytest.approx(np.full(segments.shape[:2], 0.4), abs=3e-3)
    assert length == pytest.approx(2 * np.pi * 0.4, rel=5e-3)


def test_a_level_outside_the_values_has_no_isoline(square):
    assert len(isolines(*fine_triangles(square, np.arange(32), square.nodes[:, 0], 2), 1.5)) == 0


def test_a_line_is_as_thick_as_it_says_in_any_direction():
    strokes = Strokes(np.array([[[20.0, 50.0], [80.0, 50.0]], [[20.0, 20.0], [80.0, 80.0]]]), width=6.0)
    image = render(Picture(Box(0, 0, 100, 100), (strokes,), ()))
    column = 255.0 - image[:, 35].mean(axis=1)
    ink = column / (255 - 255 * np.mean(strokes.colour))
    level, slanting = ink[40:60].sum(), ink[60:80].sum()
    # The pixel at either edge of a slanting line is known to half its ink.
    assert level == pytest.approx(6, abs=0.1) and slanting == pytest.approx(6 * np.sqrt(2), abs=1.0)


def test_a_nice_step_is_one_two_or_five_and_asks_for_no_more_parts_than_wanted():
    for span in (0.0123, 0.9, 1.0, 17.0, 99.0, 1234.0):
        step = nice_step(span, 10)
        assert span / step <= 10 * (1 + 1e-9) and span / step > 3.99
        assert f"{step:e}"[0] in "125" and number_text(step, step) == f"{step:g}"
    assert list(multiples(-0.21, 0.4, 0.2)) == pytest.approx([-0.2, 0.0, 0.2, 0.4])
    assert number_text(-1e-17, 0.2) == "0.0"


def test_wrapped_lines_keep_all_words_fit_and_never_part_a_number_from_its_unit():
    text = "Isotherms every 5 K and a_word_that_is_much_longer_than_any_line_can_be at 0.25 K/W " * 2
    lines = wrapped(text, 300)
    assert max(text_size(line)[0] for line in lines) <= 300
    assert "".join(lines).replace("\u00a0", "").replace(" ", "") == text.replace(" ", "")
    assert not any(line.startswith("K") for line in lines)


def test_letters_of_other_scripts_take_room():
    assert text_size("Ωθ")[0] > 20 and text_size("Кристалл")[0] > 60


def test_missing_libraries_are_named_with_the_line_that_installs_them(found, tmp_path, monkeypatch):
    monkeypatch.setattr(plan_drawing, "missing_libraries", lambda: ["libEGL.so.1"])
    with pytest.raises(PictureFailed) as failure:
        draw_pictures(found("one"), "as written", tmp_path)
    assert "libEGL.so.1" in str(failure.value) and INSTALL_LINE in str(failure.value)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("fault", [RuntimeError, KeyboardInterrupt])
def test_nothing_is_left_on_disk_when_rendering_breaks_off(found, tmp_path, monkeypatch, fault):
    drawn = []

    def third_fails(picture):
        drawn.append(picture)
        if len(drawn) == 3:
            raise fault
        return np.zeros((4, 4, 3), np.uint8)

    monkeypatch.setattr(pictures, "render", third_fails)
    with pytest.raises(fault):
        draw_pictures(found("one"), "as written", tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_window_without_a_display_is_refused_plainly(found, monkeypatch):
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(pictures.sys, "platform", "linux")
    with pytest.raises(PictureFailed, match="no display"):
        show_window(found("one"))


def test_a_field_that_is_even_can_be_drawn():
    scale = scale_of("temperature [°C]", [np.full(7, 25.0)], WARM)
    assert scale.limits[0] < 25 < scale.limits[1] and len(scale.levels) > 2
    sheet = Sheet(frame_around([shapely.box(0, 0, 1e-2, 1e-2)], 0.03))
    page = finished(sheet, "title", "subtitle", scale, [])
    assert render(page).shape == (page.size[1], page.size[0], 3)


def test_a_field_of_rounding_errors_has_no_isolines(found):
    # The source covers the whole plate: nothing spreads.
    picture = spreading_picture(found("covered"), "as written")
    assert abs(found("covered").spreading[0].maximum) < 1e-9
    assert sum(len(part.segments) for part in picture.parts if isinstance(part, Strokes)) < 100


def test_words_need_their_whole_box():
    one, touching, over = box_around(0, 0, 10, 4), box_around(10, 0, 10, 4), box_around(9, 3, 10, 4)
    assert not overlaps(one, [touching])
    assert overlap_areas(one, [over])[0] == pytest.approx(1.0)
    assert Words("x", one).box is one
