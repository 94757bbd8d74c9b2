"""A mesh with holes made whole: by flat patches where rays bear them out, by a new surface where they do not."""

from dataclasses import dataclass, replace

import numpy as np

from register.errors import BadMesh
from register.geometry.ray_votes import Inside, buried, differing, facing_wrong, inside_of, wound_round
from register.geometry.rays import Axes, Crossings, Floats, crossings_of, lattice_for
from register.geometry.rebuilt import Facets, steps_between, surface_round
from register.geometry.topology import Indices, area_mm2, bodies_of, edges_of, patches_over

# Nodes of the first lattice, and of the finest, which is taken for parts with thin walls.
NODES, MOST_NODES = 500_000, 8_000_000
FINER = 4
# Stretches that a lattice may be too coarse for, and four-sided patches that a new surface may have.
SHORT_SHARE = 0.05
MOST_STEPS = 250_000
# Patches are kept where they and the rays differ by no more than this share of the part.
AGREED = 0.02
# Patches that make walls within the part are not kept beyond this share of its surface.
BURIED = 0.015
# What the volume may be off by (one standard deviation of its logarithm): the least, the share of what one direction
# alone found inside, that of what was held to be outside and may not be; less where patches and rays agree.
# Source: measured, tests/benchmarks/open_meshes.py.
LEAST_DOUBT, UNSURE_SHARE, MISSED_SHARE, AGREED_SHARE = 0.02, 0.2, 0.4, 0.5
# Holes that no ray has looked into, and beyond what share of the surface they are refused.
UNSEEN_DOUBT, HOLE_SHARE = 0.25, 0.9
# Facets and open edges beyond which rays take too much memory.
MOST_SEEN = 1_200_000
MOST_DOUBT = 0.35
# Bodies of the closed mesh that are no more than this share of it are what the damage left: a facet and its patch, or
# a few nodes that the rays were wrong about.
NOTHING, SPECK = 1e-9, 3e-4
TURNED = "Some facets were wound the other way than the rest; they were turned."
INSIDE_OUT = "The mesh was inside out (its facets were wound inward); it was turned the right way round."
CURE = "Repair the model so that it is one closed body."


@dataclass(frozen=True)
class Mended:
    """A closed mesh made of an open one.

    Of `triangles_mm` (n, 3, 3) the last `patches` close the holes of the rest, or there are none and all are a new
    surface. Bodies that are no more than the share `least` of the volume are what the damage left. `area_mm2` is what
    the open mesh had. `doubt` is the standard deviation of the logarithm of the volume; `warnings` say what was done.
    """

    triangles_mm: Floats
    patches: int
    least: float
    area_mm2: float
    doubt: float
    warnings: tuple[str, ...]

    def cleared(self, body: Indices, volumes_mm3: Floats) -> tuple["Mended", Indices, Floats]:
        """Without the bodies that the damage left; `body` (n,) says to which of `volumes_mm3` each triangle belongs."""
        sizes = np.abs(volumes_mm3)
        real = sizes > self.least * sizes.sum()
        if real.all() or not real.any():
            return self, body, volumes_mm3
        kept = real[body]
        patches = int(np.count_nonzero(kept[len(kept) - self.patches :]))
        numbers = np.cumsum(real, dtype=np.int32) - 1
        mended = replace(self, triangles_mm=self.triangles_mm[kept], patches=patches)
        return mended, numbers[body[kept]].astype(np.int32), volumes_mm3[real]


@dataclass(frozen=True)
class Looked:
    """An open mesh as rays see it.

    `triangles_mm` (n, 3, 3) face as they should, `turned` says so if some had to be turned; `patches_mm`
    (k, 3, 3) would close the holes at its `open_edges`, and differ from what the rays found by the share `differs`;
    `buried` is how much of them lies within the part, as a share of its surface.
    """

    triangles_mm: Floats
    turned: tuple[str, ...]
    patches_mm: Floats
    open_edges: int
    axes: Axes
    found: tuple[Crossings, ...]
    closing: tuple[Crossings, ...]
    inside: Inside
    differs: float
    buried: float

    @property
    def agreed(self) -> bool:
        """Whether flat patches give the solid that the rays found, and no walls within it."""
        return self.differs <= AGREED and self.buried <= BURIED

    @property
    def doubt(self) -> float:
        """What the volume may be off by: standard deviation of its logarithm."""
        doubt = UNSURE_SHARE * self.inside.unsure + MISSED_SHARE * self.inside.missed
        return LEAST_DOUBT + doubt * (AGREED_SHARE if self.agreed else 1.0)


def made_whole(points_mm: Floats, faces: Indices, name: str) -> Mended:
    """An open mesh closed in the way that can be trusted most.

    Parameters
    ----------
    points_mm : (v, 3)
    faces : (n, 3)
        As many as can be wound as their neighbours are.
    name
        For messages.

    Raises
    ------
    BadMesh
        If the rays find no inside, or contradict one another too much.
    """
    # By Euler's formula a mesh with holes has about 2·points − facets open edges.
    looked = looked_through(points_mm, faces) if max(len(faces), 2 * len(points_mm)) <= MOST_SEEN else None
    if looked is None:
        return _unseen(points_mm, faces, name)
    at_edges = f"is open at {looked.open_edges} edges"
    if not looked.inside.solid.any():
        raise BadMesh(f"{name} is not a body: it {at_edges}, and no ray finds an inside.", CURE)
    if looked.doubt > MOST_DOUBT:
        raise BadMesh(f"{name} {at_edges}, and so much is missing that nothing tells where its inside is.", CURE)
    doubt, warnings = looked.doubt, looked.turned
    if looked.agreed:
        done = "its holes were closed with flat patches, and rays in three directions bear that out"
    else:
        done = (
            "flat patches do not give what rays in three directions find inside, so a new surface was laid round that"
        )
    warnings += (f"The mesh {at_edges}; {done}. Volume and mass may be off by about {_percent(doubt)} %.",)
    area = area_mm2(looked.triangles_mm)
    if not looked.agreed:
        return Mended(rebuilt(looked), 0, SPECK, area, doubt, warnings)
    triangles, patches = looked.triangles_mm, looked.patches_mm
    del looked  # a large mesh leaves no room for both
    return Mended(np.concatenate([triangles, patches]), len(patches), NOTHING, area, doubt, warnings)


def looked_through(points_mm: Floats, faces: Indices) -> Looked | None:
    """What rays find of an open mesh, on a lattice fine enough for its walls; None if none can be had."""
    triangles = points_mm[faces]
    axes = lattice_for(triangles, NODES)
    if axes is None:
        return None
    found = crossings_of(triangles, axes)
    body = bodies_of(faces, len(points_mm))
    wrong = facing_wrong(found, body)[body]
    if wrong.any():
        faces = np.where(wrong[:, None], faces[:, ::-1], faces)
        triangles = points_mm[faces]
        found = tuple(each.turned(wrong) for each in found)
    axes, found, inside = _finer(triangles, axes, found)
    patches, open_edges = patches_over(points_mm, edges_of(faces))
    closing = crossings_of(patches, axes)
    differs = differing(inside.solid, wound_round((found[2], closing[2]), axes))
    within = buried(closing, inside.solid, axes) / max(sum(len(each.ray) for each in found), 1)
    turned = () if not wrong.any() else (INSIDE_OUT,) if wrong.all() else (TURNED,)
    return Looked(triangles, turned, patches, open_edges, axes, found, closing, inside, differs, within)


def rebuilt(looked: Looked) -> Floats:
    """A closed surface round what the rays found inside: (m, 3, 3)."""
    patches, facets = Facets(looked.patches_mm, looked.closing), Facets(looked.triangles_mm, looked.found)
    return surface_round(looked.inside.solid, looked.axes, (patches, facets))


def _finer(triangles: Floats, axes: Axes, found: tuple[Crossings, ...]) -> tuple[Axes, tuple[Crossings, ...], Inside]:
    """The lattice, or a finer one as long as walls may fall between its nodes; with what it finds."""
    inside = inside_of(found, axes)
    nodes = NODES
    while inside.short > SHORT_SHARE and nodes < MOST_NODES:
        nodes *= FINER
        next_axes = lattice_for(triangles, nodes)
        if next_axes is None or next_axes[0].size * next_axes[1].size * next_axes[2].size <= inside.solid.size:
            break
        next_found = crossings_of(triangles, next_axes)
        next_inside = inside_of(next_found, next_axes)
        if steps_between(next_inside.solid) > MOST_STEPS:
            break
        axes, found, inside = next_axes, next_found, next_inside
    return axes, found, inside


def _unseen(points: Floats, faces: Indices, name: str) -> Mended:
    """Closed with flat patches that no ray has looked at."""
    patches, open_edges = patches_over(points, edges_of(faces))
    triangles = np.empty((len(faces) + len(patches), 3, 3))
    np.take(points, faces, axis=0, out=triangles[: len(faces)], mode="clip")
    triangles[len(faces) :] = patches
    area = area_mm2(triangles[: len(faces)])
    if area_mm2(patches) > HOLE_SHARE * area:
        raise BadMesh(f"{name} is not a body: it is open at {open_edges} edges.", CURE)
    said = (
        f"The mesh is open at {open_edges} edges, and its facets are too many or lie too thick to look through; its "
        f"holes were closed with flat patches. Volume and mass may be off by about {_percent(UNSEEN_DOUBT)} %."
    )
    return Mended(triangles, len(patches), NOTHING, area, UNSEEN_DOUBT, (said,))


def _percent(doubt: float) -> int:
    return max(round(100.0 * doubt), 1)
