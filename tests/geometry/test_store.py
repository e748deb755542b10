"""What is kept on disk: found again, bounded, whole under several processes, made anew where damaged, and never code."""

import os
import subprocess
import sys
import time
from dataclasses import dataclass

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from plancha.geometry.store import ASIDE, Store, content_hash, made_anew

NUMBERS = {"a": np.arange(6.0).reshape(2, 3), "b": np.array([1, 2], np.int32)}


class Maker:
    """Makes the arrays, counting how often."""

    def __init__(self, arrays=None):
        self.count, self.arrays = 0, NUMBERS if arrays is None else arrays

    def __call__(self):
        """The arrays."""
        self.count += 1
        return self.arrays


def same(one, other):
    """Whether two sets of arrays are equal to the bit, types and all."""
    return one.keys() == other.keys() and all(
        a.dtype == other[name].dtype and np.array_equal(a, other[name]) for name, a in one.items()
    )


def test_what_is_made_once_is_found_again(tmp_path):
    make, store = Maker(), Store(tmp_path / "kept")
    for _ in range(3):
        assert same(store.keep("mesh", [1.0, "x"], make), NUMBERS)
    assert make.count == 1
    store.keep("mesh", [1.0, "y"], make)
    store.keep("other", [1.0, "x"], make)
    assert make.count == 3


def test_nothing_is_kept_where_nothing_is_to_be(tmp_path):
    make = Maker()
    assert made_anew("mesh", 1, make) is NUMBERS and made_anew("mesh", 1, make) is NUMBERS and make.count == 2


@pytest.mark.parametrize("damage", ["cut", "flipped", "empty", "text", "pickled", "folder"])
def test_a_damaged_entry_is_made_anew_without_a_word(tmp_path, damage):
    make, store = Maker({"a": np.arange(5000.0)}), Store(tmp_path)
    store.keep("mesh", 1, make)
    (path,) = tmp_path.iterdir()
    whole = path.read_bytes()
    if damage == "cut":
        path.write_bytes(whole[: len(whole) // 2])
    elif damage == "flipped":
        middle = len(whole) // 2
        path.write_bytes(whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :])
    elif damage == "empty":
        path.write_bytes(b"")
    elif damage == "text":
        path.write_text("not an entry")
    elif damage == "pickled":
        with open(path, "wb") as file:
            np.save(file, np.array([{"code": print}], object), allow_pickle=True)
    else:
        path.unlink()
        path.mkdir()
    assert same(store.keep("mesh", 1, make), make.arrays) and make.count == 2
    if damage != "folder":
        assert same(store.keep("mesh", 1, make), make.arrays) and make.count == 2


def test_what_was_used_longest_ago_goes_first(tmp_path):
    store = Store(tmp_path, most_bytes=3 * 8500)
    makers = {number: Maker({"a": np.full(1000, float(number))}) for number in range(4)}
    for number in (0, 1, 2):
        store.keep("mesh", number, makers[number])
        time.sleep(0.02)
    store.keep("mesh", 0, makers[0])  # used again: 1 is now the oldest
    time.sleep(0.02)
    store.keep("mesh", 3, makers[3])
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 3 * 8500
    for number in (0, 2, 3):
        store.keep("mesh", number, makers[number])
    assert [make.count for make in makers.values()] == [1, 1, 1, 1]
    store.keep("mesh", 1, makers[1])
    assert makers[1].count == 2


def test_what_is_too_large_is_made_each_time_and_leaves_the_rest(tmp_path):
    store, small, large = Store(tmp_path, most_bytes=9000), Maker({"a": np.zeros(500)}), Maker({"a": np.zeros(5000)})
    store.keep("mesh", 1, small)
    store.keep("mesh", 2, large)
    store.keep("mesh", 2, large)
    store.keep("mesh", 1, small)
    assert (small.count, large.count) == (1, 2)


def test_what_a_stopped_process_left_half_written_goes_in_time(tmp_path):
    old, new = tmp_path / f"x{ASIDE}", tmp_path / f"y{ASIDE}"
    old.write_bytes(b"half"), new.write_bytes(b"half")
    os.utime(old, (1.0, 1.0))
    Store(tmp_path).keep("mesh", 1, Maker())
    assert not old.exists() and new.exists()


def test_a_folder_that_cannot_be_written_only_costs_the_making(tmp_path):
    (tmp_path / "file").write_text("in the way")
    make, store = Maker(), Store(tmp_path / "file" / "kept")
    assert same(store.keep("mesh", 1, make), NUMBERS) and same(store.keep("mesh", 1, make), NUMBERS) and make.count == 2


USE = """
import sys
from pathlib import Path
import numpy as np
from plancha.geometry.store import Store

rng, store, wrong = np.random.default_rng(int(sys.argv[2])), Store(Path(sys.argv[1]), most_bytes=120_000), 0
for _ in range(150):
    number = int(rng.integers(6))
    found = store.keep("mesh", number, lambda: {"a": np.full(5000, float(number))})
    wrong += not (found["a"] == number).all() or found["a"].shape != (5000,)
sys.exit(int(wrong > 0))
"""


def test_processes_side_by_side_meet_whole_entries_only(tmp_path):
    running = [subprocess.Popen([sys.executable, "-c", USE, str(tmp_path), seed]) for seed in ("1", "2")]
    assert [each.wait(timeout=60) for each in running] == [0, 0]
    assert not list(tmp_path.glob(f"*{ASIDE}"))


VALUES = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(allow_nan=False), st.text(max_size=3)),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=2), inner, max_size=2)),
    max_leaves=6,
)


@given(one=VALUES, other=VALUES)
def test_only_equal_contents_have_one_hash(one, other):
    if repr(one) == repr(other):
        assert content_hash(one) == content_hash(other)
    elif one != other:
        assert content_hash(one) != content_hash(other)


@dataclass(frozen=True)
class Thing:
    """Something with a field."""

    size: float
    outline: object


def test_the_hash_sees_every_part():
    square, other = shapely.box(0, 0, 1, 1), shapely.box(0, 0, 1, 1.0000001)
    array = np.zeros((2, 3))
    values = [
        Thing(1.0, square),
        Thing(1.0, other),
        Thing(2.0, square),
        array,
        array.T,
        array.astype(int),
        -array,
        b"",
        "",
    ]
    assert len({content_hash(value) for value in values}) == len(values)
    assert content_hash(Thing(1.0, square)) == content_hash(Thing(1.0, shapely.box(0, 0, 1, 1)))
    with pytest.raises(TypeError, match="no content hash of object"):
        content_hash([object()])


def test_another_program_meets_none_of_the_entries(tmp_path):
    make = Maker()
    for program in ("1.0", "1.0", "1.1"):
        Store(tmp_path, program=program).keep("mesh", 1, make)
    assert make.count == 2
