"""Which spots are the same spot, bit for bit."""

import numpy as np
from numpy.typing import NDArray

from register.geometry.vectors import parts

Floats = NDArray[np.float64]
Indices = NDArray[np.int32]
Keys = NDArray[np.uint64]

# Odd numbers that spread the bits of a key. Source: the golden ratio, and multipliers of known mixers (from memory).
_SALTS = (0x9E3779B97F4A7C15, 0xD6E8FEB86659FD93, 0xA0761D6478BD642F)
_PLACE_SALTS = (0xE7037ED1A0B428DB, 0x8EBC6AF09C88C6E3, 0x589965CC75374CC3, 0x1D8E4E27C47D124F)


def same_spots(points: Floats) -> Indices:
    """For each point the index of one on the same spot, the same for all that lie there.

    Parameters
    ----------
    points : (n, 3)
        Contiguous.

    Returns
    -------
    (n,)
    """
    # Taken whole, a row is three times as fast as its three numbers.
    rows = points.view(f"V{points.strides[0]}").reshape(-1)
    for salt in _SALTS:
        same = same_keys(_keys(points, salt))
        found = ((part, rows.take(same[part]).view(np.float64).reshape(-1, 3)) for part in parts(len(points)))
        if all((spots == points[part]).all() for part, spots in found):
            return same
    return _same_corners(points)  # two spots have one key under every salt: somebody means it


def _keys(corners: Floats, salt: int) -> Keys:
    """A number (n,) for each corner (n, 3), mixed from the bits of its coordinates."""
    keys = np.empty(len(corners), dtype=np.uint64)
    for part in parts(len(corners)):
        bits = (corners[part] + 0.0).view(np.uint64)  # turns −0 into 0
        mixed = bits[:, 0] * np.uint64(salt)
        for column in (1, 2):
            mixed ^= mixed >> np.uint64(29)
            mixed += bits[:, column]
            mixed *= np.uint64(0xBF58476D1CE4E5B9)
        keys[part] = mixed
    return keys


def same_keys(keys: Keys) -> Indices:
    """For each key the index of one that is equal to it, the same for all equals: (n,).

    Notes
    -----
    Every key writes its index into a table at a place taken from its bits; what stands there afterwards answers for
    all its equals. Those that find another key there try again with other bits. Source: common practice (hashing).
    """
    same = np.empty(len(keys), dtype=np.int32)
    left = np.arange(len(keys), dtype=np.int32)
    for salt in _PLACE_SALTS:
        bits = max(len(left).bit_length(), 8)
        table = np.empty(1 << bits, dtype=np.int32)
        for part in parts(len(left)):
            table[_places(keys[left[part]], salt, bits)] = left[part]
        missed = []
        for part in parts(len(left)):
            own = left[part]
            wanted = keys[own]
            found = table.take(_places(wanted, salt, bits))
            same[own] = found
            missed.append(own[keys.take(found) != wanted])
        left = np.concatenate(missed)
        if not len(left):
            return same
    _, first, inverse = np.unique(keys[left], return_index=True, return_inverse=True)
    same[left] = left[first][inverse]
    return same


def _places(keys: Keys, salt: int, bits: int) -> NDArray[np.int64]:
    places = keys * np.uint64(salt)
    places >>= np.uint64(64 - bits)
    return places.view(np.int64)


def _same_corners(corners: Floats) -> Indices:
    """As `same_keys`, by sorting the corners (n, 3) themselves."""
    order = np.lexsort(tuple(corners.T)).astype(np.int32)
    new = np.ones(len(order), dtype=bool)
    for part in parts(len(order) - 1):
        one, next_one = order[:-1][part], order[1:][part]
        new[1:][part] = (corners[one] != corners[next_one]).any(axis=1)
    same = np.empty(len(order), dtype=np.int32)
    same[order] = order[new][np.cumsum(new) - 1]
    return same
