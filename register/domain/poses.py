"""Poses: how a part may lie on the bed of a printer, what each takes, and which is better than the drawing's."""

from dataclasses import dataclass

from register.domain.estimates import Size

AS_DRAWN = "as drawn"

Rotation = tuple[Size, Size, Size]


@dataclass(frozen=True)
class Pose:
    """One way for a part to lie.

    `rotation` is a matrix by rows: it takes a point of the drawing to its place on the bed, before the part is set
    down on z = 0. `size_mm` is the box after it. `footprint_mm2` is what the first layer covers, `support_mm3` the
    space under what overhangs, down to the next surface. `stands` says that the part would stay so by itself.
    """

    number: int
    name: str
    rotation: Rotation
    size_mm: Size
    height_mm: float
    footprint_mm2: float
    support_mm3: float
    stands: bool


@dataclass(frozen=True)
class PoseEstimate:
    """What a print in one pose takes. `printers` hold it, if need be turned on the bed.

    `machine` is the printer that it is estimated on and `turn_deg` how far it is turned there about z beside the
    rotation; None and the other figures None where no printer holds the pose. `support_mm3` is support as printed.
    """

    number: int
    name: str
    size_mm: Size
    footprint_mm2: float
    support_space_mm3: float
    stands: bool
    printers: tuple[str, ...]
    machine: str | None
    turn_deg: float
    rotation: Rotation
    duration_s: float | None = None
    mass_g: float | None = None
    support_mm3: float | None = None
    cost_cents: int | None = None


@dataclass(frozen=True)
class PoseAdvice:
    """The poses of a part, quickest first, and the one that is worth a turn.

    `better` is the number of a pose that saves enough to say so, None where there is none or where `keep_pose`, the
    reason to print the part as drawn, forbids it. Every pose is reckoned with support beyond `support_angle_deg`;
    `support_assumed` says that the settings themselves set none.
    """

    sha256: str
    material: str
    support_angle_deg: float
    support_assumed: bool
    keep_pose: str
    better: int | None
    poses: tuple[PoseEstimate, ...]

    @property
    def as_drawn(self) -> PoseEstimate:
        """The pose of the drawing."""
        return next(each for each in self.poses if each.name == AS_DRAWN)

    def pose(self, number: int) -> PoseEstimate:
        """The pose of that number."""
        return next(each for each in self.poses if each.number == number)


@dataclass(frozen=True)
class PoseSaving:
    """What a pose is likely to save against the drawing's, by a quick look: times about, support as printed.

    `support_assumed` says that the settings print no support, and that it is reckoned with beyond
    `support_angle_deg` here.
    """

    name: str
    drawn_s: float
    turned_s: float
    less_support_mm3: float
    support_assumed: bool
    support_angle_deg: float
