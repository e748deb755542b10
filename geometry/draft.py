"""A stack while it is laid: what lies so far, where each part is written, and every fault and note met on the way."""

import difflib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath

import numpy as np
import shapely

from plancha.geometry.air import Bank, Flow
from plancha.geometry.bodies import Body, Film, Held, Joint, Probe, Rim, Source
from plancha.geometry.faults import Fault
from plancha.geometry.key_lines import Path, place_of, plain
from plancha.geometry.materials import Material
from plancha.geometry.power_map import PowerMap
from plancha.geometry.power_map_file import read_grid, read_power_map
from plancha.geometry.study import Study
from plancha.geometry.units import show

SLIVER = 1e-9  # share of the smaller outline below which two outlines do not overlap


@dataclass(frozen=True)
class Reading:
    """How CSV files are read: the functions themselves, or such as remember what they read."""

    power_map: Callable[..., PowerMap] = read_power_map
    grid: Callable[..., np.ndarray] = read_grid


@dataclass
class Draft:
    """The one value that grows while a study becomes a stack; paths lead to where the study says it.

    ``missing`` are the kinds, by name, of parts left out because of a fault told elsewhere: who refers to them is not at fault.
    It is None where the study is whole.
    """

    study: Study
    folder: FilePath
    reading: Reading = Reading()
    missing: Mapping[str, str] | None = None
    bodies: list[Body] = field(default_factory=list)
    body_paths: list[Path] = field(default_factory=list)
    numbers: dict[str, int] = field(default_factory=dict)
    joints: list[Joint] = field(default_factory=list)
    joint_paths: list[Path] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    source_paths: list[Path] = field(default_factory=list)
    films: list[Film] = field(default_factory=list)
    film_paths: list[Path] = field(default_factory=list)
    helds: list[Held] = field(default_factory=list)
    held_paths: list[Path] = field(default_factory=list)
    rims: list[Rim] = field(default_factory=list)
    rim_paths: list[Path] = field(default_factory=list)
    banks: list[Bank] = field(default_factory=list)
    bank_paths: list[Path] = field(default_factory=list)
    flows: list[Flow] = field(default_factory=list)
    flow_paths: list[Path] = field(default_factory=list)
    probes: list[Probe] = field(default_factory=list)
    materials: dict[str, Material] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def fault(self, path: Path, message: str, value: object = None, allowed: str = "", hint: str = "") -> None:
        """Add a fault of the part to which the path leads."""
        shown = plain(value) if isinstance(value, str) else value
        self.faults.append(Fault(place_of(path, self.study), message, shown, allowed, hint, path=path))

    def file_faults(self, path: Path, faults: Iterable[Fault]) -> None:
        """Add faults of a CSV file that the study names at the path; those of no line of it stand at the path."""
        for fault in faults:
            if fault.line is None:
                told = ": ".join(part for part in (fault.file, fault.place, fault.message) if part)
                self.fault(path, told, fault.value, fault.allowed, fault.hint)
            else:
                self.faults.append(fault)

    def note(self, path: Path, text: str) -> None:
        """Add a remark on the part to which the path leads."""
        self.notes.append(f"{place_of(path, self.study)}: {text}")

    def lay(self, body: Body, path: Path) -> int:
        """Add a body; its number."""
        self.bodies.append(body)
        self.body_paths.append(path)
        self.numbers[body.name] = len(self.bodies) - 1
        self.materials[body.material.name] = body.material
        return len(self.bodies) - 1

    def plate(self, name: str | None, path: Path) -> int | None:
        """Number of the plate called so, or of the only one; a fault if there is none."""
        plates = {body.name: number for number, body in enumerate(self.bodies) if "/" not in body.name}
        if name is None:
            return self._only_plate(plates, path)
        if name in plates or self._is_told_elsewhere(name):
            return plates.get(name)
        self._fault_unknown(name, plates, path, self._why_no_plate(name))
        return None

    def body(self, name: str | None, path: Path, face: int | None = None) -> int | None:
        """Number of the body called so, or of the only plate.

        A component's name means its chip; with a ``face``, the layer that is outermost on that side.
        """
        if name is None or name in self.numbers:
            return self.plate(None, path) if name is None else self.numbers[name]
        source = next((each for each in self.sources if each.name == name), None)
        if source is None or len(source.chain) == 1:
            if source is not None:
                return source.chain[0]
            if not self._is_told_elsewhere(name):
                self._fault_unknown(name, [*self.numbers, *(each.name for each in self.sources)], path, "")
            return None
        own = source.chain[:-1]
        return own[-1] if face is not None and face != source.face else own[0]

    def _only_plate(self, plates: dict[str, int], path: Path) -> int | None:
        if len(self.study.plate) == 1 and "plate" not in (self.missing or {}).values():
            return next(iter(plates.values()), None)
        if len(self.study.plate) > 1:
            allowed = ", ".join(plain(each.name) for each in self.study.plate)
            self.fault((*path, "on"), "there are several plates: say which", None, allowed)
        return None

    def _is_told_elsewhere(self, name: str) -> bool:
        """Whether the name belongs to a part that is not laid because of another fault."""
        owner = name.split("/")[0]
        written = (
            {each.name for each in self.study.plate}
            | {each.name for each in self.study.component}
            | set(self.missing or {})
        )
        laid = {each.name for each in self.sources} | set(self.numbers)
        return owner in written and owner not in laid

    def _why_no_plate(self, name: str) -> str:
        if name.split("/")[0] in {each.name for each in self.study.component}:
            return "only plates carry others: write a lid that is shared as a [[plate]], and put the components on it"
        return ""

    def _fault_unknown(self, name: str, known: Iterable[str], path: Path, hint: str) -> None:
        names = list(known)
        near = difflib.get_close_matches(name, names, 1)
        hint = hint or (f'did you mean "{near[0]}"?' if near else "")
        kind = "plate" if path[-1] == "on" and hint.startswith("only plates") else "body"
        self.fault(path, f"no {kind} has this name", name, ", ".join(names[:20]), hint)


def overlap(one: shapely.Polygon, other: shapely.Polygon) -> float:
    """Area [m2] that two outlines share; 0 where it is no more than rounding."""
    area = one.intersection(other).area
    return area if area > SLIVER * min(one.area, other.area) else 0.0


def overlapping(shapes: list[shapely.Polygon]) -> list[tuple[int, int]]:
    """Numbers of all pairs of shapes that share area, the smaller number first."""
    if len(shapes) < 2:
        return []
    ones, others = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    pairs = [(int(a), int(b)) for a, b in zip(ones, others) if a < b]
    return sorted(pair for pair in pairs if overlap(shapes[pair[0]], shapes[pair[1]]))


def in_words(*lengths: float) -> str:
    """Lengths [m] in a message: "(3 mm, 4 mm)"."""
    return "(" + ", ".join(show(float(f"{length:.6g}"), "length") for length in lengths) + ")"


def span_of(shape: shapely.Polygon) -> str:
    """A shape's bounding rectangle in a message: "x 3 mm to 9 mm, y 4 mm to 8 mm"."""
    left, bottom, right, top = (show(float(f"{value:.6g}"), "length") for value in shape.bounds)
    return f"x {left} to {right}, y {bottom} to {top}"
