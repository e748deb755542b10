"""A reply of numbers with arrays as bytes: four bytes of length, that much JSON, then the arrays, each of four-byte numbers."""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np


def packed(header: Mapping[str, Any], arrays: Mapping[str, np.ndarray]) -> bytes:
    """Header and arrays as one message; the header's key ``arrays`` lists names, kinds and lengths in their order.

    Floats become float32, integers uint32, both little-endian; numbers that JSON does not know become null.
    """
    flat = {name: _four_bytes(values) for name, values in arrays.items()}
    about = [{"name": name, "kind": values.dtype.kind, "length": values.size} for name, values in flat.items()]
    text = json_text({**header, "arrays": about}).encode()
    text += b" " * (-len(text) % 4)
    return b"".join([len(text).to_bytes(4, "little"), text, *(values.tobytes() for values in flat.values())])


def _four_bytes(values: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(values.ravel(), "<f4" if values.dtype.kind == "f" else "<u4")


def json_text(value: Any) -> str:
    """A value as JSON; what is not finite is null."""
    return json.dumps(_finite(value), allow_nan=False)


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inner) for inner in value]
    if isinstance(value, float | np.floating):
        return float(value) if np.isfinite(value) else None
    return value
