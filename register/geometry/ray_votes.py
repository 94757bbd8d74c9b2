"""What rays in three directions say together: how facets should face, and where the inside of a part is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from register.geometry.rays import Axes, Crossings, Flags, Indices

Votes = NDArray[np.int8]

# What a ray that crosses facets in good order, one that does not, and one that crosses nothing say. One ray that
# goes in and out in good order outweighs two that find nothing: facets go missing more often than they are made up.
SOUND, BROKEN, EMPTY = 3, 2, 1
# A body of facets is turned if so many times more of its crossings are the wrong way round than the right way.
TURNED = 3
# A stretch inside the part that is shorter than so many steps of the lattice may fall between its nodes.
SHORT_STEPS = 1.5
# Rounds in which nodes that no ray decides take after their neighbours.
ROUNDS = 60
MOST_UNDECIDED = 300_000
# Rounds in which nodes that rays are not sure of give way to their neighbours.
SMOOTHINGS = 6


@dataclass(frozen=True)
class Inside:
    """Where the inside is.

    `solid` (nx, ny, nz) is True at the nodes inside. As shares of their number: `unsure` of them are so by the word
    of one direction only or against another's, and `missed` others, held to be outside, may be inside. `short` is
    the share of stretches through the part that the lattice is too coarse for.
    """

    solid: Flags
    unsure: float
    missed: float
    short: float


@dataclass(frozen=True)
class _Rays:
    """The rays with crossings: (r,) the first crossing of each, how many, and whether they are in good order.

    `winding` (k,) is how often a ray is inside after each crossing.
    """

    start: Indices
    count: Indices
    sound: Flags
    winding: Indices


def facing_wrong(found: tuple[Crossings, ...], body: NDArray[np.int32]) -> Flags:
    """Which bodies of facets face inward: (bodies,).

    Parameters
    ----------
    found
        The crossings of three directions.
    body : (n,)
        The number of each facet's body, from 0; facets of one body agree on their facing among themselves.

    Notes
    -----
    A ray with an even number of crossings should go in by the first, out by the second, and so on. A body is turned
    if most of its crossings are against that in every direction that meets it.
    """
    bodies = int(body.max()) + 1
    right, wrong = np.zeros(bodies, dtype=np.int64), np.zeros(bodies, dtype=np.int64)
    turn = np.ones(bodies, dtype=np.bool_)
    for crossings in found:
        rays = _rays(crossings)
        even = np.repeat(rays.count % 2 == 0, rays.count)
        rank = np.arange(len(even)) - np.repeat(rays.start, rays.count)
        agrees = crossings.enters == (rank % 2 == 0)
        own = body[crossings.facet]
        for_it = np.bincount(own[even & agrees], minlength=bodies)
        against = np.bincount(own[even & ~agrees], minlength=bodies)
        turn &= (against > for_it) | (for_it + against == 0)
        right += for_it
        wrong += against
    return turn & (wrong > TURNED * right)


def inside_of(found: tuple[Crossings, ...], axes: Axes) -> Inside:
    """Where the inside is, by a vote of three directions.

    Parameters
    ----------
    found
        The crossings of three directions with the facets, turned as they should face.
    axes
        The lattice's.

    Notes
    -----
    A ray that leaves as often as it enters, and never sooner, says of all its nodes whether they are inside; one
    that does not speaks only for the stretches between an entry and the exit that follows, or an exit and the entry
    that follows. Source: Nooruddin and Turk, "Simplification and repair of polygonal models using volumetric
    techniques", 2003, for counting in several directions (from memory); the weights were measured.
    """
    votes = np.zeros(tuple(len(axis) for axis in axes), dtype=np.int8)
    voices = np.zeros_like(votes)
    against = np.zeros(votes.shape, dtype=np.bool_)
    stretches = short = 0
    for crossings in found:
        rays = _rays(crossings)
        said = _said(crossings, rays, axes)
        votes += said
        voices += said >= BROKEN
        against |= said <= -BROKEN
        within = (rays.winding > 0) & np.repeat(rays.sound, rays.count)
        step = float(np.ptp(axes[crossings.direction])) / len(axes[crossings.direction])
        stretches += int(np.count_nonzero(within))
        short += int(np.count_nonzero(np.diff(crossings.at_mm, append=0.0)[within] < SHORT_STEPS * step))
    unsure = against | (voices < 2)
    missed = (voices > 0) | (votes > -3 * EMPTY)
    solid = _smoothed(_decided(votes), np.where(votes > 0, unsure, missed))
    count = max(int(np.count_nonzero(solid)), 1)
    unsure &= solid
    missed &= ~solid
    return Inside(
        solid,
        float(np.count_nonzero(unsure)) / count,
        float(np.count_nonzero(missed)) / count,
        short / max(stretches, 1),
    )


def wound_round(found: tuple[Crossings, ...], axes: Axes) -> Flags:
    """The nodes (nx, ny, nz) that facets wind round, by the rays of one direction.

    Parameters
    ----------
    found
        Crossings of that direction with facets that are closed together.
    """
    direction = found[0].direction
    sizes = _sizes(axes, direction)
    winding = np.zeros(sizes[0] * sizes[1] * sizes[2], dtype=np.int16)
    for crossings in found:
        _add_steps(winding, crossings, sizes[2], np.where(crossings.enters, 1, -1))
    return _in_place(np.cumsum(winding.reshape(sizes), axis=2, dtype=np.int16) > 0, direction)


def _rays(crossings: Crossings) -> _Rays:
    start = np.flatnonzero(np.diff(crossings.ray, prepend=-1))
    count = np.diff(start, append=len(crossings.ray))
    total = np.cumsum(np.where(crossings.enters, 1, -1))
    if not len(start):
        return _Rays(start, count, np.zeros(0, np.bool_), total)
    winding = total - np.repeat(np.where(start > 0, total[start - 1], 0), count)
    sound = (np.minimum.reduceat(winding, start) >= 0) & (winding[start + count - 1] == 0)
    return _Rays(start, count, sound, winding)


def _said(crossings: Crossings, rays: _Rays, axes: Axes) -> Votes:
    """What the rays of one direction say of every node: positive inside, negative outside, 0 nothing."""
    sizes = _sizes(axes, crossings.direction)
    said = np.zeros(sizes[0] * sizes[1] * sizes[2], dtype=np.int8)
    before, after = _stretches(crossings, rays)
    by_ray = said.reshape(-1, sizes[2])
    by_ray[:, 0] = -EMPTY
    by_ray[crossings.ray[rays.start], 0] = before
    change = np.diff(after, prepend=0)
    change[rays.start] = after[rays.start] - before
    _add_steps(said, crossings, sizes[2], change)
    np.cumsum(by_ray, axis=1, dtype=np.int8, out=by_ray)
    return _in_place(said.reshape(sizes), crossings.direction)


def _stretches(crossings: Crossings, rays: _Rays) -> tuple[Indices, Indices]:
    """What is said before the first crossing of each ray (r,), and after each crossing (k,)."""
    enters = crossings.enters
    follows = np.roll(enters, -1)
    follows[rays.start + rays.count - 1] = True  # a ray that has left the part meets nothing more
    alone = np.where(enters & ~follows, BROKEN, np.where(~enters & follows, -BROKEN, 0))
    together = np.where(rays.winding > 0, SOUND, -SOUND)
    after = np.where(np.repeat(rays.sound, rays.count), together, alone)
    return np.where(rays.sound, -SOUND, np.where(enters[rays.start], -BROKEN, 0)), after


def _add_steps(values: NDArray[np.signedinteger], crossings: Crossings, size: int, change: Indices) -> None:
    """Add changes at the nodes that follow the crossings, where there is one."""
    inner = crossings.place < size
    np.add.at(values, crossings.nodes_after(size)[inner], change[inner].astype(values.dtype))


def _sizes(axes: Axes, direction: int) -> tuple[int, int, int]:
    """Nodes across, along and in the direction of rays."""
    u, v, w = (len(axes[axis]) for axis in _order(direction))
    return u, v, w


def _in_place(values: NDArray[np.generic], direction: int) -> NDArray:  # type: ignore[type-arg]
    """Values of nodes across, along and in a direction, with their axes in the order x, y, z."""
    return np.moveaxis(values, (0, 1, 2), _order(direction))


def _order(direction: int) -> tuple[int, int, int]:
    return (direction + 1) % 3, (direction + 2) % 3, direction


def _decided(votes: Votes) -> Flags:
    """The solid nodes; those that no ray decides take after their neighbours, unless they are too many.

    Notes
    -----
    Relaxation of Laplace's equation over the undecided nodes, solid as 1 and empty as −1. Source: common practice.
    """
    solid = votes > 0
    undecided = np.flatnonzero(votes == 0)
    if not 0 < len(undecided) <= MOST_UNDECIDED:
        return solid
    level: NDArray[np.float32] = np.where(solid, np.float32(1.0), np.float32(-1.0)).reshape(-1)
    level[undecided] = 0.0
    beside = []
    strides = (votes.shape[1] * votes.shape[2], votes.shape[2], 1)
    for spot, stride, size in zip(np.unravel_index(undecided, votes.shape), strides, votes.shape, strict=True):
        beside.append(np.where(spot > 0, undecided - stride, undecided))
        beside.append(np.where(spot < size - 1, undecided + stride, undecided))
    for _ in range(ROUNDS):
        level[undecided] = np.sum([level[each] for each in beside], axis=0) / np.float32(6.0)
    return np.asarray(level > 0.0).reshape(votes.shape)


def _smoothed(solid: Flags, doubtful: Flags) -> Flags:
    """The solid nodes, where doubtful ones that most of their six neighbours contradict follow those."""
    for _ in range(SMOOTHINGS):
        around = np.zeros(solid.shape, dtype=np.int8)
        for axis in range(3):
            ahead, values = np.moveaxis(around, axis, 0), np.moveaxis(solid, axis, 0)
            ahead[1:] += values[:-1]
            ahead[:-1] += values[1:]
            ahead[0] += values[0]
            ahead[-1] += values[-1]
        solid = np.where(doubtful, (around > 3) | (solid & (around == 3)), solid)
    return solid


def buried(closing: tuple[Crossings, ...], solid: Flags, axes: Axes) -> int:
    """How many crossings with patches lie two nodes deep within the part: walls where there should be none."""
    count = 0
    for crossings in closing:
        u, v, size = _sizes(axes, crossings.direction)
        ray = np.moveaxis(solid, _order(crossings.direction), (0, 1, 2)).reshape(u * v, size)
        deep = (crossings.place > 1) & (crossings.place < size - 1)
        at, place = crossings.ray[deep], crossings.place[deep]
        within = ray[at, place - 2] & ray[at, place - 1] & ray[at, place] & ray[at, place + 1]
        count += int(np.count_nonzero(within))
    return count


def differing(one: Flags, other: Flags) -> float:
    """Nodes at which two solids differ, as a share of the first's."""
    return float(np.count_nonzero(one != other)) / max(int(np.count_nonzero(one)), 1)
