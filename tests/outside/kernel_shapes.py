"""Solids of a CAD kernel: their exact volumes as JSON, and their surfaces as STL files.

PYTHON tests/outside/kernel_shapes.py FOLDER [COARSER]

PYTHON is an environment with cadquery-ocp-novtk. Facets are so fine that they leave out less than 2e-4 of a volume:
the normals of neighbours differ by at most 0.025, so that a circle has n ≥ 2π/0.025 chords, which leave out 0.025²/6 =
1.04e-4 of its area. A sphere and a torus, which are cut both ways, lose up to twice that share; the kernel cuts both
finer than it is asked to. COARSER multiplies the angle, to see the loss grow with its square.
"""

import json
import sys
from collections.abc import Callable
from pathlib import Path

from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakePolygon,
    BRepBuilderAPI_MakeWire,
)
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepFilletAPI import BRepFilletAPI_MakeChamfer, BRepFilletAPI_MakeFillet
from OCP.BRepGProp import BRepGProp
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepOffsetAPI import BRepOffsetAPI_ThruSections
from OCP.BRepPrimAPI import (
    BRepPrimAPI_MakeBox,
    BRepPrimAPI_MakeCone,
    BRepPrimAPI_MakeCylinder,
    BRepPrimAPI_MakeRevol,
    BRepPrimAPI_MakeSphere,
    BRepPrimAPI_MakeTorus,
)
from OCP.gp import gp_Ax1, gp_Ax2, gp_Circ, gp_Dir, gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.IMeshTools import IMeshTools_MeshAlgoType, IMeshTools_Parameters
from OCP.StlAPI import StlAPI_Writer
from OCP.TopAbs import TopAbs_EDGE
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Edge, TopoDS_Shape, TopoDS_Wire

# Radians between the normals of neighbouring facets; on a torus the kernel halves it.
ANGLE, TORUS_ANGLE = 0.025, 0.04
# Chords also stay this near to their arcs.
DEFLECTION_MM = 0.05
UP, ALONG_X, ALONG_Y = gp_Dir(0, 0, 1), gp_Dir(1, 0, 0), gp_Dir(0, 1, 0)


def edges(shape: TopoDS_Shape) -> list[TopoDS_Edge]:
    """Every edge of a shape once, in the order in which the kernel finds them."""
    found: list[TopoDS_Edge] = []
    walk = TopExp_Explorer(shape, TopAbs_EDGE)
    while walk.More():
        edge = TopoDS.Edge(walk.Current())
        if not any(edge.IsSame(other) for other in found):
            found.append(edge)
        walk.Next()
    return found


def box(x: float, y: float, z: float, at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> TopoDS_Shape:
    return BRepPrimAPI_MakeBox(gp_Pnt(*at), x, y, z).Shape()


def cylinder(r: float, h: float, at: tuple[float, float, float], axis: gp_Dir = UP) -> TopoDS_Shape:
    return BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(*at), axis), r, h).Shape()


def ball(r: float, at: tuple[float, float, float]) -> TopoDS_Shape:
    return BRepPrimAPI_MakeSphere(gp_Pnt(*at), r).Shape()


def rounded_box() -> TopoDS_Shape:
    """40 × 30 × 20 mm, every edge rounded with 3 mm."""
    block = box(40, 30, 20)
    rounding = BRepFilletAPI_MakeFillet(block)
    for edge in edges(block):
        rounding.Add(3.0, edge)
    return rounding.Shape()


def holed_plate() -> TopoDS_Shape:
    """60 × 40 × 6 mm, the upper outer edges broken by 1 mm at 45°, five holes through it."""
    plate = box(60, 40, 6)
    breaking = BRepFilletAPI_MakeChamfer(plate)
    for edge in edges(plate):
        props = GProp_GProps()
        BRepGProp.LinearProperties_s(edge, props)
        if props.CentreOfMass().Z() > 5.9:
            breaking.Add(1.0, edge)
    plate = breaking.Shape()
    for x, y, r in ((8, 8, 2.75), (52, 8, 2.75), (8, 32, 2.75), (52, 32, 2.75), (30, 20, 11)):
        plate = BRepAlgoAPI_Cut(plate, cylinder(r, 10, (x, y, -2))).Shape()
    return plate


def square_wire(half: float, z: float) -> TopoDS_Wire:
    polygon = BRepBuilderAPI_MakePolygon()
    for x, y in ((-half, -half), (half, -half), (half, half), (-half, half)):
        polygon.Add(gp_Pnt(x, y, z))
    polygon.Close()
    return polygon.Wire()


def round_wire(r: float, z: float) -> TopoDS_Wire:
    circle = gp_Circ(gp_Ax2(gp_Pnt(0, 0, z), UP), r)
    return BRepBuilderAPI_MakeWire(BRepBuilderAPI_MakeEdge(circle).Edge()).Wire()


def lofted_boss() -> TopoDS_Shape:
    """From a square of 32 mm over a circle of 20 mm to one of 24 mm, smooth, on a foot of 40 × 40 × 4 mm."""
    loft = BRepOffsetAPI_ThruSections(True, False)
    for wire in (square_wire(16, 4), round_wire(10, 16), round_wire(12, 24)):
        loft.AddWire(wire)
    loft.Build()
    return BRepAlgoAPI_Fuse(box(40, 40, 4, (-20, -20, 0)), loft.Shape()).Shape()


def turned_pulley() -> TopoDS_Shape:
    """A profile with a groove, turned round the upright axis."""
    profile = BRepBuilderAPI_MakePolygon()
    for r, z in ((4, 0), (20, 0), (20, 2), (14, 6), (14, 8), (20, 12), (20, 14), (8, 14), (8, 20), (4, 20)):
        profile.Add(gp_Pnt(r, 0, z))
    profile.Close()
    face = BRepBuilderAPI_MakeFace(profile.Wire()).Face()
    return BRepPrimAPI_MakeRevol(face, gp_Ax1(gp_Pnt(0, 0, 0), UP)).Shape()


def ball_joint() -> TopoDS_Shape:
    """A block, a ball half sunk into it, bored crosswise and from below."""
    body = BRepAlgoAPI_Fuse(box(30, 30, 16), ball(12, (15, 15, 16))).Shape()
    body = BRepAlgoAPI_Cut(body, cylinder(4, 40, (-5, 15, 14), ALONG_X)).Shape()
    return BRepAlgoAPI_Cut(body, cylinder(3, 22, (15, 15, -2))).Shape()


def crossed_cylinders() -> TopoDS_Shape:
    """What two cylinders of 10 mm share that cross at a right angle."""
    return BRepAlgoAPI_Common(cylinder(10, 60, (-30, 0, 0), ALONG_X), cylinder(10, 60, (0, -30, 0), ALONG_Y)).Shape()


SHAPES: dict[str, Callable[[], TopoDS_Shape]] = {
    "rounded box": rounded_box,
    "cylinder": lambda: cylinder(10, 30, (0, 0, 0)),
    "cone frustum": lambda: BRepPrimAPI_MakeCone(12, 5, 20).Shape(),
    "sphere": lambda: ball(15, (0, 0, 0)),
    "torus": lambda: BRepPrimAPI_MakeTorus(20, 6).Shape(),
    "plate with holes and broken edges": holed_plate,
    "lofted boss": lofted_boss,
    "turned pulley": turned_pulley,
    "ball in a bored block": ball_joint,
    "crossed cylinders": crossed_cylinders,
}


def measured(shape: TopoDS_Shape, target: Path, angle: float) -> dict[str, float | bool]:
    """Whether the kernel holds the shape valid, its volume (mm³) and area (mm²); its facets go into `target`."""
    solid, skin = GProp_GProps(), GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, solid, 1e-8, True)
    BRepGProp.SurfaceProperties_s(shape, skin)
    how = IMeshTools_Parameters()
    how.Angle = how.AngleInterior = angle
    how.Deflection = DEFLECTION_MM
    how.MeshAlgo = IMeshTools_MeshAlgoType.IMeshTools_MeshAlgoType_Delabella
    mesh = BRepMesh_IncrementalMesh(shape, how)
    writer = StlAPI_Writer()
    writer.ASCIIMode = False
    valid = BRepCheck_Analyzer(shape).IsValid() and mesh.IsDone() and writer.Write(shape, str(target))
    return {"valid": bool(valid), "volume_mm3": solid.Mass(), "area_mm2": skin.Mass()}


def main() -> None:
    """Print `{name: {valid, volume_mm3, area_mm2, file}}`."""
    folder = Path(sys.argv[1])
    coarser = float(sys.argv[2]) if len(sys.argv) > 2 else 1.0
    found = {}
    for number, (name, make) in enumerate(SHAPES.items()):
        file = f"{number}.stl"
        angle = coarser * (TORUS_ANGLE if name == "torus" else ANGLE)
        found[name] = {**measured(make(), folder / file, angle), "file": file}
    print(json.dumps(found))


if __name__ == "__main__":
    main()
