"""Unstructured grids as VTU files: VTK's XML format, which any general viewer reads.

Source of the format: VTK File Formats, in the VTK User's Guide and at docs.vtk.org. Every array stands in its place as base64 of
blocks that zlib has compressed one by one, with their number and lengths before them.
"""

import os
import sys
import zlib
from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

import numpy as np

WEDGE, HEXAHEDRON, TRIANGLE_OF_SIX = 13, 12, 22  # VTK's numbers of kinds of cells
TYPES = {"f8": "Float64", "i8": "Int64", "i4": "Int32", "u1": "UInt8"}
BLOCK = 2**15  # bytes compressed at a time
LEVEL = 1  # of compression: four times as fast as the usual one, and the files are no larger


@dataclass(frozen=True)
class UnstructuredGrid:
    """Cells of one ``kind`` (cells, corners) over points (points, 3), with fields on either, and names of numbered parts."""

    points: np.ndarray
    kind: int
    cells: np.ndarray
    point_data: Mapping[str, np.ndarray] = field(default_factory=dict)
    cell_data: Mapping[str, np.ndarray] = field(default_factory=dict)
    names: tuple[str, ...] = ()


def write_vtu(path: str | os.PathLike[str], grid: UnstructuredGrid) -> Path:
    """Write a grid; the path written.

    Each name stands in the file's field data: an entry called so, whose two numbers are the part's number and 3, its dimension.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    count, corners = grid.cells.shape
    parts: dict[str, Mapping[str, np.ndarray]] = {
        "Points": {"Points": grid.points},
        "Cells": {
            "connectivity": grid.cells.ravel(),
            "offsets": corners * np.arange(1, count + 1, dtype=np.int32),
            "types": np.full(count, grid.kind, np.uint8),
        },
        "PointData": grid.point_data,
        "CellData": grid.cell_data,
    }
    lines = ['<?xml version="1.0"?>']
    lines += [f'<VTKFile type="UnstructuredGrid" version="0.1" byte_order="{sys.byteorder.title()}Endian" '
              'header_type="UInt32" compressor="vtkZLibDataCompressor">']  # fmt: skip
    lines += ["<UnstructuredGrid>", "<FieldData>", *map(_named, range(len(grid.names)), grid.names), "</FieldData>"]
    lines += [f'<Piece NumberOfPoints="{len(grid.points)}" NumberOfCells="{count}">']
    for part, arrays in parts.items():
        lines += [f"<{part}>", *(_array(name, values) for name, values in arrays.items()), f"</{part}>"]
    lines += ["</Piece>", "</UnstructuredGrid>", "</VTKFile>", ""]
    Path(path).write_text("\n".join(lines), encoding="utf-8")
    return Path(path)


def _named(number: int, name: str) -> str:
    text = f'<DataArray type="Int64" Name="{escape(name)}" NumberOfTuples="2" format="ascii">'
    return f"{text}{number} 3</DataArray>"


def _array(name: str, values: np.ndarray) -> str:
    across = f' NumberOfComponents="{values.shape[1]}"' if values.ndim == 2 else ""
    head = f'<DataArray type="{TYPES[values.dtype.str[1:]]}" Name="{escape(name)}"{across} format="binary">'
    content = values.tobytes()
    blocks = [zlib.compress(content[start : start + BLOCK], LEVEL) for start in range(0, len(content), BLOCK)]
    lengths = np.array([len(blocks), BLOCK, len(content) % BLOCK, *map(len, blocks)], np.uint32)
    return f"{head}{b64encode(lengths.tobytes()).decode()}{b64encode(b''.join(blocks)).decode()}</DataArray>"
