"""What a picture is made of (surfaces, strokes, words, all in pixels) and its rendering by VTK, with or without a display."""

import os
import re
import sys
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from plancha.app.colours import WARM, ColourMap, Diverging, colours
from plancha.app.label_places import Box
from plancha.app.shared_libraries import missing_libraries, missing_message
from plancha.geometry.faults import Failure

DOTS_PER_INCH = 254  # 1600 pixels are 160 mm
TEXT = 28  # pixels: 8 pt at that density
TITLE = 36
DARK, MIDDLE, LIGHT = (0.10, 0.10, 0.12), (0.38, 0.38, 0.40), (1.0, 1.0, 1.0)
NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(K|W|°C|%))")  # the space between them, at which no line is broken
SAMPLES = 4  # per pixel, so that slanting lines are smooth
QUICK_COMPRESSION = 3  # of the PNG: five times faster than the default for a few percent more bytes


class PictureFailed(Failure):
    """No picture can be drawn here; the message says what is missing and what cures it."""


@dataclass(frozen=True)
class Surface:
    """Triangles (m, 3) over points (n, 2) [px] with values at the points (n,) or in the triangles (m,); the map ends at limits."""

    points: np.ndarray
    triangles: np.ndarray
    values: np.ndarray
    limits: tuple[float, float]
    colour_map: ColourMap | Diverging = WARM


@dataclass(frozen=True)
class Strokes:
    """Straight segments (n, 2, 2) [px] of one colour and width [px]."""

    segments: np.ndarray
    colour: tuple[float, float, float] = DARK
    width: float = 2.0


@dataclass(frozen=True)
class Patch:
    """A filled convex polygon of corners (n, 2) [px]."""

    corners: np.ndarray
    colour: tuple[float, float, float] = LIGHT


Part = Surface | Strokes | Patch


@dataclass(frozen=True)
class Words:
    """A line of text in the middle of a box [px] that holds it; ``plate`` lays a light ground under it."""

    text: str
    box: Box
    size: int = TEXT
    bold: bool = False
    colour: tuple[float, float, float] = DARK
    plate: bool = False


@dataclass(frozen=True)
class Picture:
    """The part of the plane that is shown, and what is drawn on it: later parts over earlier ones, words over all."""

    window: Box
    parts: tuple[Part, ...]
    words: tuple[Words, ...]
    spots: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the image [px]."""
        return round(self.window.width), round(self.window.height)


def check_libraries() -> None:
    """Refuse to render where it would end the process.

    Raises
    ------
    PictureFailed
        If shared libraries of the system are missing; the message names them and the line that installs them.
    """
    missing = missing_libraries()
    if missing:
        raise PictureFailed(f"pictures cannot be drawn: {missing_message(missing)}")


def load_pyvista() -> Any:
    """pyvista, set up to open a window.

    Raises
    ------
    PictureFailed
        If shared libraries of the system are missing.
    """
    check_libraries()
    _choose_window("vtkXOpenGLRenderWindow")
    import pyvista

    return pyvista


def _choose_window(kind: str) -> None:
    """VTK reads this when it makes its first render window; without a display it would look for an X server."""
    if sys.platform.startswith("linux"):
        os.environ["VTK_DEFAULT_OPENGL_WINDOW"] = kind


@cache
def _font_file(bold: bool) -> str:
    """A font with the world's letters and signs, which comes with pyvista's own requirement matplotlib."""
    from importlib.util import find_spec

    found = find_spec("matplotlib")
    folder = Path(found.submodule_search_locations[0] if found and found.submodule_search_locations else "")
    return str(folder / "mpl-data" / "fonts" / "ttf" / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"))


def _text_property(size: int, bold: bool) -> Any:
    from vtkmodules.vtkRenderingCore import vtkTextProperty

    style = vtkTextProperty()
    style.SetFontFamily(4)  # VTK_FONT_FILE
    style.SetFontFile(_font_file(bold))
    style.SetFontSize(size)
    style.SetJustificationToCentered()
    style.SetVerticalJustificationToCentered()
    return style


@cache
def text_size(text: str, size: int = TEXT, bold: bool = False) -> tuple[float, float]:
    """Width and height [px] that a line of text takes, by the renderer's own measure."""
    import vtkmodules.vtkRenderingFreeType  # noqa: F401  the renderer's text engine
    from vtkmodules.vtkRenderingCore import vtkTextRenderer

    bounds = [0, 0, 0, 0]
    vtkTextRenderer.GetInstance().GetBoundingBox(_text_property(size, bold), text, bounds, 72)
    return bounds[1] - bounds[0] + 5.0, bounds[3] - bounds[2] + 3.0


def wrapped(text: str, width: float, size: int = TEXT, bold: bool = False) -> list[str]:
    """A text as lines of at most ``width`` [px], broken at spaces (within a word only where it is longer than a line)."""
    lines = [""]
    for word in NUMBER_AND_UNIT.sub("\u00a0", text).split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_size(longer, size, bold)[0] > width:
            lines.append("")
            longer = word
        while text_size(longer, size, bold)[0] > width and len(longer) > 1:
            fits = next(
                n for n in range(len(longer) - 1, 0, -1) if n == 1 or text_size(longer[:n], size, bold)[0] <= width
            )
            lines[-1:] = [longer[:fits], ""]
            longer = longer[fits:]
        lines[-1] = longer
    return lines


def render(picture: Picture) -> np.ndarray:
    """Draw a picture; image (height, width, 3) of uint8, first row at the top.

    Raises
    ------
    PictureFailed
        If shared libraries of the system are missing.
    """
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkUnsignedCharArray
    from vtkmodules.vtkRenderingCore import vtkRenderer

    check_libraries()
    window, renderer, pixels = _hidden_window(), vtkRenderer(), vtkUnsignedCharArray()
    renderer.SetBackground(1.0, 1.0, 1.0)
    for number, part in enumerate(picture.parts):
        renderer.AddActor(_surface(part, number) if isinstance(part, Surface) else _plain(part, number))
    for words in picture.words:
        renderer.AddActor(_words_actor(words, picture.window))
    width, height = picture.size
    window.SetSize(width, height)
    window.AddRenderer(renderer)
    try:
        _aim(renderer, picture.window, len(picture.parts))
        window.Render()
        window.GetPixelData(0, 0, width - 1, height - 1, 0, pixels, 0)
    finally:
        window.RemoveRenderer(renderer)
    return vtk_to_numpy(pixels).reshape(height, width, 3)[::-1].copy()


@cache
def _hidden_window() -> Any:
    """A window that is not shown, one for all pictures: making it costs as much as drawing in it."""
    _choose_window("vtkEGLRenderWindow")
    import vtkmodules.vtkRenderingFreeType
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  both put themselves in the places of the renderer's engines
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    window = vtkRenderWindow()
    window.SetOffScreenRendering(True)
    window.SetMultiSamples(SAMPLES)
    window.SwapBuffersOff()  # nobody looks at it: what would be shown costs as much as the drawing, and is not read
    return window


def _aim(renderer: Any, window: Box, layers: int) -> None:
    """Parallel view in which one unit of the drawing is one pixel."""
    camera, (x, y) = renderer.GetActiveCamera(), window.middle
    camera.SetPosition(x, y, layers + 1.0)
    camera.SetFocalPoint(x, y, 0.0)
    camera.SetViewUp(0.0, 1.0, 0.0)
    camera.ParallelProjectionOn()
    camera.SetParallelScale(window.height / 2)
    camera.SetClippingRange(0.5, layers + 2.0)


def _actor(points: np.ndarray, faces: np.ndarray, layer: int) -> Any:
    """Polygons (n, corners) over points (m, 2), drawn without light at the height of a layer."""
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    places, cells, mesh, mapper, actor = vtkPoints(), vtkCellArray(), vtkPolyData(), vtkPolyDataMapper(), vtkActor()
    raised = np.column_stack([points, np.full(len(points), float(layer))])
    places.SetData(numpy_to_vtk(raised, deep=True))
    starts = np.arange(len(faces) + 1) * faces.shape[1]
    cells.SetData(*(numpy_to_vtkIdTypeArray(each.astype(np.int64).ravel(), deep=True) for each in (starts, faces)))
    mesh.SetPoints(places)
    mesh.SetPolys(cells)
    mapper.SetInputData(mesh)
    actor.SetMapper(mapper)
    actor.GetProperty().LightingOff()
    return actor


def _surface(part: Surface, layer: int) -> Any:
    from vtkmodules.util.numpy_support import numpy_to_vtk

    actor = _actor(part.points, part.triangles, layer)
    mapper = actor.GetMapper()
    mesh = mapper.GetInput()
    data = mesh.GetPointData() if len(part.values) == len(part.points) else mesh.GetCellData()
    data.SetScalars(numpy_to_vtk(np.ascontiguousarray(part.values, float), deep=True))
    mapper.SetLookupTable(_table(part.colour_map, part.limits))
    mapper.UseLookupTableScalarRangeOn()
    mapper.InterpolateScalarsBeforeMappingOn()
    return actor


def _table(colour_map: ColourMap | Diverging, limits: tuple[float, float]) -> Any:
    """A colour map between two values."""
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonCore import vtkLookupTable

    table = vtkLookupTable()
    table.SetTable(numpy_to_vtk(_opaque(colour_map), deep=True))
    table.SetRange(*limits)
    return table


def _opaque(colour_map: ColourMap | Diverging) -> np.ndarray:
    return np.column_stack([colours(colour_map), np.full(256, 255, np.uint8)])


def lookup_table(pyvista: Any, colour_map: ColourMap | Diverging, limits: tuple[float, float]) -> Any:
    """A colour map between two values, as pyvista takes it."""
    return pyvista.LookupTable(values=_opaque(colour_map), scalar_range=limits)


def _plain(part: Strokes | Patch, layer: int) -> Any:
    """Strokes or a polygon in one colour."""
    polygons = stroke_quads(part.segments, part.width) if isinstance(part, Strokes) else part.corners[None]
    count, corners = polygons.shape[:2]
    actor = _actor(polygons.reshape(-1, 2), np.arange(count * corners).reshape(count, corners), layer)
    actor.GetMapper().ScalarVisibilityOff()
    actor.GetProperty().SetColor(*part.colour)
    return actor


def stroke_quads(segments: np.ndarray, width: float) -> np.ndarray:
    """Rectangles (n, 4, 2) of a width [px] around segments (n, 2, 2), half a width longer at both ends.

    Graphics drivers differ in the widths of lines that they can draw, and leave gaps between short ones.
    """
    start, stop = segments[:, 0], segments[:, 1]
    length = np.linalg.norm(stop - start, axis=1, keepdims=True)
    along = np.divide(stop - start, length, out=np.tile([1.0, 0.0], (len(segments), 1)), where=length > 0) * width / 2
    across = along[:, ::-1] * [-1.0, 1.0]
    return np.stack(
        [start - along - across, stop + along - across, stop + along + across, start - along + across], axis=1
    )


def _words_actor(words: Words, window: Box) -> Any:
    from vtkmodules.vtkRenderingCore import vtkTextActor

    actor = vtkTextActor()
    actor.SetInput(words.text)
    style = _text_property(words.size, words.bold)
    style.SetColor(*words.colour)
    if words.plate:
        style.SetBackgroundColor(*LIGHT)
        style.SetBackgroundOpacity(0.8)
    actor.GetTextProperty().ShallowCopy(style)
    x, y = words.box.middle
    actor.SetPosition(x - window.left, y - window.bottom)
    return actor


def write_png(path: str | os.PathLike[str], image: np.ndarray) -> Path:
    """Write an image (height, width, 3) to a PNG file that says how large it wants to be printed."""
    from PIL import Image

    dense = (DOTS_PER_INCH, DOTS_PER_INCH)
    Image.fromarray(image).save(path, format="PNG", compress_level=QUICK_COMPRESSION, dpi=dense)
    return Path(path)
