"""Interfaces that are not the same everywhere: voids (listed, or from a map or an image), patches, tilted and bowed bond lines."""

import warnings
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import TYPE_CHECKING

import numpy as np
import shapely

from plancha.geometry.bodies import Joint, JointPatch
from plancha.geometry.draft import Draft, overlap, overlapping, span_of
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.grid import Grid
from plancha.geometry.key_lines import Path
from plancha.geometry.parts import Interface
from plancha.geometry.shapes import shape_of
from plancha.geometry.units import show

if TYPE_CHECKING:
    import PIL.Image

FIELD_CELLS = 48  # along each side, by which a tilted or bowed bond line is described
MOST_VOIDS = 300  # that one interface may have
MOST_PIXELS = 4_000_000
MOST_RUNS = 20_000  # of void cells side by side in a row: a picture with more is speckled, not voided
VOID_FROM = 0.5  # share of a cell of a map from which it counts as void
LEAST_BOND_LINE = 1e-7  # m
IMAGES = (".png", ".bmp", ".tif", ".tiff", ".jpg", ".jpeg")


@dataclass(frozen=True)
class Variation:
    """How an interface differs from place to place: its conductance on a grid, if it has one, and patches of other conductance."""

    conductance: Grid | None = None
    patches: tuple[JointPatch, ...] = ()

    def of(self, joint: Joint) -> Joint:
        """The joint with this variation."""
        if self.conductance is None and not self.patches:
            return joint
        return replace(joint, conductance=self.conductance, patches=self.patches)


def variation_of(
    draft: Draft, spec: Interface | str | None, contact: shapely.Geometry, impedance: float, path: Path
) -> Variation:
    """The variation of an interface over the contact of its two bodies; none where it has none or is at fault."""
    if not isinstance(spec, Interface) or not varies(spec) or contact.area <= 0:
        return Variation()  # bodies that do not touch are told elsewhere
    if impedance <= 0 and spec.impedance is None:
        return Variation()  # so is an unknown material of the bond line
    if impedance <= 0:
        hint = "give the solid part an impedance, or a bond line with its conductivity"
        draft.fault(path, "a perfect contact has no voids, patches, tilt or bow", hint=hint)
        return Variation()
    grid = _bond_line_field(draft, spec, contact, path)
    patches = [*_voids(draft, spec, contact, path), *_patches(draft, spec, contact, path)]
    for one, other in overlapping([patch.outline for patch in patches]):
        spot = patches[one].outline.intersection(patches[other].outline)
        draft.fault(path, "two voids or patches of the interface lie on one spot", span_of(spot))
    if patches and sum(patch.outline.area for patch in patches if patch.conductance == 0) > contact.area * (1 - 1e-9):
        draft.fault(path, "the whole interface is void: nothing joins the bodies")
    return Variation(grid, tuple(patches))


def varies(spec: Interface) -> bool:
    """Whether an interface differs from place to place."""
    own = (spec.void, spec.patch, spec.void_map, spec.bond_line_map, spec.tilt, spec.bow)
    return any(value for value in own)


def _voids(draft: Draft, spec: Interface, contact: shapely.Geometry, path: Path) -> list[JointPatch]:
    shapes = []
    for number, table in enumerate(spec.void):
        try:
            shapes.append((shape_of(table), (*path, "void", number)))
        except ValueError as error:
            draft.fault((*path, "void", number), str(error))
    if spec.void_map is not None:
        shapes += [(shape, (*path, "void_map")) for shape in _mapped_voids(draft, spec, contact, path)]
    return [patch for shape, at in shapes for patch in _within(draft, shape, 0.0, contact, at)]


def _within(
    draft: Draft, shape: shapely.Geometry, conductance: float, contact: shapely.Geometry, at: Path
) -> list[JointPatch]:
    inside = shape.intersection(contact)
    if not overlap(inside, shape):
        draft.fault(at, "it lies outside the contact of the two bodies", span_of(shape), span_of(contact))
        return []
    parts = shapely.get_parts(inside)
    return [JointPatch(part, conductance) for part in parts if isinstance(part, shapely.Polygon) and part.area > 0]


def _patches(draft: Draft, spec: Interface, contact: shapely.Geometry, path: Path) -> list[JointPatch]:
    found = []
    for number, table in enumerate(spec.patch):
        at = (*path, "patch", number)
        try:
            shape = shape_of(table)
        except ValueError as error:
            draft.fault(at, str(error))
            continue
        if table.impedance is None or table.impedance <= 0:
            draft.fault(at, "a patch of an interface needs an impedance above 0", hint="a void is a void = [...] entry")
            continue
        found += _within(draft, shape, 1.0 / table.impedance, contact, at)
    return found


def _mapped_voids(draft: Draft, spec: Interface, contact: shapely.Geometry, path: Path) -> list[shapely.Polygon]:
    """Voids of a map laid over the contact's bounding rectangle, as polygons."""
    assert spec.void_map is not None
    at = (*path, "void_map")
    try:
        share = _void_shares(draft, spec, at)
    except StudyError as error:
        draft.file_faults(at, error.faults)
        return []
    is_void = share >= VOID_FROM
    if len(_runs(is_void)[0]) > MOST_RUNS:
        hint = "smooth the picture, so that voids are black or white all over"
        draft.fault(at, "the voids are in too many pieces", None, f"{MOST_RUNS} void runs in the rows", hint)
        return []
    voids = polygons_of(is_void, contact.bounds)
    if len(voids) > MOST_VOIDS:
        voids = sorted(voids, key=lambda void: -void.area)
        lost = sum(void.area for void in voids[MOST_VOIDS:]) / contact.area
        draft.note(
            at,
            f"{len(voids)} voids: the {MOST_VOIDS} largest count, the others ({100 * lost:.2g} % of the contact) do not",
        )
        voids = voids[:MOST_VOIDS]
    area = sum(void.area for void in voids) / contact.area
    draft.note(at, f"{len(voids)} voids, {100 * area:.3g} % of the contact")
    return voids


def _void_shares(draft: Draft, spec: Interface, at: Path) -> np.ndarray:
    """Share of void of each cell (ny, nx), row 0 at the bottom."""
    assert spec.void_map is not None
    name, is_void = spec.void_map.file, spec.void_map.void
    if FilePath(name).suffix.lower() in IMAGES:
        if is_void is None:
            draft.fault(
                at, "an image must say whether its voids are dark or light", None, 'void = "dark" or void = "light"'
            )
            return np.zeros((1, 1))
        return read_void_image(draft.folder / name, name, is_void == "dark")
    if is_void is not None:
        draft.fault((*at, "void"), "a CSV map gives shares: 0 is bonded, 1 is void", is_void, "leave void out")
    values = draft.reading.grid(draft.folder / name, unit="", dimension="fraction", shown_as=name)
    if values.max() > 1:
        draft.fault(at, "a share of void is at most 1", f"{values.max():g}", "0 (bonded) to 1 (void)")
    return values


def read_void_image(path: FilePath, shown_as: str, dark: bool) -> np.ndarray:
    """Shares of void (ny, nx), 0 or 1, row 0 at the bottom, of a black-and-white image.

    Parameters
    ----------
    dark : bool
        Whether dark pixels (below mid-grey) are the voids.

    Raises
    ------
    StudyError
        If the file cannot be read as an image, or has too many pixels.
    """
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(path) as image:
                if image.width * image.height > MOST_PIXELS:
                    raise StudyError([_too_large(f"{image.width} x {image.height}", shown_as)])
                grey = _greys(image)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise StudyError([_too_large(None, shown_as)]) from None
    except (OSError, SyntaxError, ValueError, UnidentifiedImageError) as error:
        reason = "there is no such file" if isinstance(error, FileNotFoundError) else "it is no image that can be read"
        raise StudyError([Fault("", reason, None, "PNG, BMP, TIFF or JPEG", file=shown_as)]) from None
    return ((grey < 0.5) if dark else (grey >= 0.5)).astype(float)[::-1]


def _too_large(found: str | None, shown_as: str) -> Fault:
    return Fault("", "the image has too many pixels", found, f"{MOST_PIXELS} at most", file=shown_as)


def _greys(image: "PIL.Image.Image") -> np.ndarray:
    """Greys (rows from the top) of an image as a viewer shows it: 0 is black, 1 white; what is transparent is white paper."""
    from PIL import Image, ImageOps

    turned = ImageOps.exif_transpose(image)
    if turned.mode.startswith("I"):  # 16 bits, which a conversion to 8 would cut off at 255
        return np.asarray(turned, float) / 65535.0
    if turned.mode == "F":
        raise ValueError("an image of floating-point numbers has no white")
    if turned.has_transparency_data:
        shown = turned.convert("RGBA")
        turned = Image.alpha_composite(Image.new("RGBA", shown.size, "white"), shown)
    return np.asarray(turned.convert("L"), float) / 255.0


def polygons_of(is_void: np.ndarray, bounds: tuple[float, float, float, float]) -> list[shapely.Polygon]:
    """The void cells (ny, nx; row 0 at the bottom) of a grid over a rectangle as polygons, their steps smoothed by half a cell."""
    rows, starts, stops = _runs(is_void)
    if not len(rows):
        return []
    left, bottom, right, top = bounds
    width, height = (right - left) / is_void.shape[1], (top - bottom) / is_void.shape[0]
    # Joined in whole numbers, where rounding cannot leave slits between the rows.
    whole = shapely.union_all(shapely.box(starts, rows, stops, rows + 1))
    laid = shapely.transform(whole, lambda corners: corners * [width, height] + [left, bottom])
    smooth = [shapely.simplify(part, 0.5 * min(width, height)) for part in shapely.get_parts(laid)]
    return [part for part in smooth if isinstance(part, shapely.Polygon) and part.area > 0]


def _runs(is_void: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row, first column and the column after the last of every run of void cells side by side."""
    step = np.diff(np.pad(is_void.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    rows, starts = np.nonzero(step == 1)
    return rows, starts, np.nonzero(step == -1)[1]


def _bond_line_field(draft: Draft, spec: Interface, contact: shapely.Geometry, path: Path) -> Grid | None:
    """Conductance [W/m2/K] over the contact's bounding rectangle of a bond line that is not even; None where it is."""
    if spec.bond_line_map is None and not spec.tilt and not spec.bow:
        return None
    if spec.bond_line_map is not None and (spec.tilt or spec.bow):
        draft.fault(
            path, "a bond line is mapped, or tilted and bowed, not both", None, "bond_line_map; or tilt and bow"
        )
        return None
    conductivity = conductivity_of(draft, spec)
    if conductivity is None:
        hint = "bond_line + conductivity"
        draft.fault(path, "only a bond line with a conductivity can be tilted, bowed or mapped", None, hint)
        return None
    lines = _bond_lines(draft, spec, path)
    if lines is None:
        return None
    low, high = (lines.min(), lines.max()) if spec.bond_line_map is not None else _extremes(spec)
    if low < LEAST_BOND_LINE:
        reason = "" if spec.bond_line_map is not None else ": tilt and bow are too large for it"
        least = f"{low * 1e6:.3g} um"
        draft.fault(path, f"the bond line closes somewhere{reason}", least, "above 0.1 um everywhere")
        return None
    thin, thick = (show(float(f"{value:.4g}"), "length") for value in (low, high))
    draft.note(path, f"the bond line runs from {thin} to {thick}; heat along it, within the joint, is neglected")
    return Grid(contact.bounds, 1.0 / (lines / conductivity + spec.contact))


def _extremes(spec: Interface) -> tuple[float, float]:
    """Thinnest and thickest place [m] of a tilted and bowed bond line, its rims and middle included."""
    at = np.linspace(-0.5, 0.5, 2 * FIELD_CELLS + 1)
    bow = spec.bow or 0.0
    x, y = (tilt * at + 2 * bow * at**2 for tilt in spec.tilt or (0.0, 0.0))
    mean = (spec.bond_line or 0.0) - bow / 3
    return float(mean + x.min() + y.min()), float(mean + x.max() + y.max())


def conductivity_of(draft: Draft, spec: Interface) -> float | None:
    """Conductivity [W/m/K] of a bond line, given or of its material; None where there is none."""
    if spec.conductivity is not None or spec.bond_line is None:
        return spec.conductivity
    found = draft.materials.get(spec.material) if isinstance(spec.material, str) else None
    if found is not None:
        return found.conductivity[2]
    return getattr(spec.material, "conductivity", None)


def _bond_lines(draft: Draft, spec: Interface, path: Path) -> np.ndarray | None:
    """Thickness (ny, nx) [m] of the bond line: as mapped, or even, tilted and bowed about its mean."""
    if spec.bond_line_map is not None:
        at, table = (*path, "bond_line_map"), spec.bond_line_map
        try:
            return draft.reading.grid(
                draft.folder / table.file, unit=table.unit, dimension="length", shown_as=table.file
            )
        except StudyError as error:
            draft.file_faults(at, error.faults)
            return None
    return tilted_and_bowed(spec.bond_line or 0.0, spec.tilt or (0.0, 0.0), spec.bow or 0.0)


def tilted_and_bowed(mean: float, tilt: tuple[float, float], bow: float, cells: int = FIELD_CELLS) -> np.ndarray:
    """Thickness (cells, cells) [m] of a bond line of a mean thickness [m], row 0 at the bottom.

    mean + tilt_x x + tilt_y y + bow (2 (x^2 + y^2) - 1/3), x and y from -1/2 to 1/2 over the contact

    ``tilt`` [m] is by how much it gains from left to right and from bottom to top; ``bow`` [m] by how much the corners
    exceed the middle.
    """
    at = (np.arange(cells) + 0.5) / cells - 0.5
    x, y = np.meshgrid(at, at)
    square = 2 * (x**2 + y**2)
    return mean + tilt[0] * x + tilt[1] * y + bow * (square - square.mean())
