"""Which spots are one, and how triangles hang together, against what is counted one by one."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from register.geometry import matching
from register.geometry.matching import same_keys, same_spots
from register.geometry.topology import bodies_of, closed_and_doubled, components, edges_of, merged_corners
from tests.geometry.stl_bytes import cube, inside_out, moved, sphere

FEW = st.lists(st.tuples(*[st.sampled_from([0.0, -0.0, 1.0, 1.0 + 2**-52, -7.5])] * 3), min_size=1, max_size=60)
PAIRS = st.lists(st.tuples(st.integers(0, 19), st.integers(0, 19)), max_size=30)


def groups(numbers: NDArray[np.integer]) -> set[frozenset[int]]:
    return {frozenset(np.flatnonzero(numbers == each).tolist()) for each in numbers.tolist()}


def groups_of_equals(points: NDArray[np.float64]) -> set[frozenset[int]]:
    rows = points.tolist()  # Python's == takes −0 for 0, as it should here
    return {frozenset(k for k, other in enumerate(rows) if other == row) for row in rows}


@settings(deadline=None)
@given(FEW)
def test_spots_are_one_if_and_only_if_all_three_coordinates_are_equal(corners: list[tuple[float, ...]]) -> None:
    points = np.array(corners)
    same = same_spots(points)
    assert groups(same) == groups_of_equals(points)
    assert all(same[k] == k for k in same.tolist())


def test_a_million_spots_that_are_almost_one_stay_apart() -> None:
    points = np.full((200_000, 3), 5.0)
    points[:, 1] += np.arange(200_000) * 2.0**-40
    assert np.array_equal(same_spots(points), np.arange(200_000))


def test_keys_that_all_want_one_place_are_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(matching, "_places", lambda keys, salt, bits: np.zeros(len(keys), dtype=np.int64))
    keys = np.array([7, 9, 7, 8, 9, 9], dtype=np.uint64)
    assert groups(same_keys(keys)) == {frozenset({0, 2}), frozenset({1, 4, 5}), frozenset({3})}


def test_spots_with_one_key_under_every_salt_are_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(matching, "_keys", lambda points, salt: np.zeros(len(points), dtype=np.uint64))
    points, faces = merged_corners(sphere(10.0, 24))
    assert len(points) == 24 * 11 + 2
    assert np.array_equal(points[faces], sphere(10.0, 24) + 0.0)


@settings(deadline=None)
@given(PAIRS)
def test_components_are_those_found_by_walking(pairs: list[tuple[int, int]]) -> None:
    label = components(20, *np.array(pairs, dtype=np.int32).reshape(-1, 2).T)
    for begin in range(20):
        reached = {begin}
        while more := {b for pair in pairs for a, b in (pair, pair[::-1]) if a in reached} - reached:
            reached |= more
        assert label[begin] == min(reached)


def test_bodies_are_numbered_from_0_and_share_no_corner() -> None:
    three = np.concatenate([cube(5.0), moved(sphere(3.0, 12), 20.0), moved(cube(5.0), 5.0, 5.0, 5.0)])
    points, faces = merged_corners(three)
    body = bodies_of(faces, len(points))
    # The second cube touches the first in one corner.
    assert groups(body) == {
        frozenset([*range(12), *range(len(three) - 12, len(three))]),
        frozenset(range(12, len(three) - 12)),
    }
    assert sorted(set(body.tolist())) == [0, 1]


def test_closed_and_doubled_are_told_from_the_edges() -> None:
    solid = cube(9.0)
    assert closed_and_doubled(merged_corners(solid)[1]) == (True, False)
    assert closed_and_doubled(merged_corners(np.concatenate([solid, solid]))[1]) == (True, True)
    assert closed_and_doubled(merged_corners(np.concatenate([solid, inside_out(solid)]))[1]) == (True, True)
    assert not closed_and_doubled(merged_corners(solid[1:])[1])[0]
    turned = solid.copy()
    turned[3] = turned[3, ::-1]
    assert not closed_and_doubled(merged_corners(turned)[1])[0]


@settings(deadline=None, max_examples=40)
@given(st.lists(st.tuples(*[st.integers(0, 6)] * 3), min_size=1, max_size=25))
def test_edges_are_those_counted_one_by_one(corners: list[tuple[int, int, int]]) -> None:
    faces = np.array(corners, dtype=np.int32)
    walked = [(f[i], f[(i + 1) % 3]) for f in corners for i in range(3)]
    edges = edges_of(faces)
    for side, (start, end) in enumerate(walked):
        assert (edges.start[side], edges.end[side], edges.forward[side]) == (start, end, start < end)
        key = edges.key[side]
        if start != end:
            low, high = min(start, end), max(start, end)
            assert edges.balance[key] == walked.count((low, high)) - walked.count((high, low))
            assert edges.uses[key] == walked.count((low, high)) + walked.count((high, low))
    assert np.array_equal(np.sort(edges.order), np.arange(len(walked)))
    assert (np.diff(edges.key[edges.order]) >= 0).all()
    pairs = {(min(each), max(each)) for each in walked if each[0] != each[1]}
    even = all(walked.count(pair) == walked.count(pair[::-1]) for pair in pairs)
    assert closed_and_doubled(faces)[0] == even
