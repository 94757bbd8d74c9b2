"""Keys of rows by what people call them."""

from functools import cached_property

from sqlmodel import select

from register.store import stock
from register.store.tables.parts import AssemblyRow, FittedRow, PartRow, PositionRow, RevisionRow, RobotRow
from register.store.tables.work import CompetitionRow, EntryRow, LotRow
from register.store.transaction import Reading


class Names:
    """Keys of rows by what people call them, each table read when first asked for."""

    def __init__(self, reading: Reading) -> None:
        self._reading = reading
        self._session = reading.session

    @cached_property
    def parts(self) -> dict[str, str]:
        """By folded number."""
        return dict(self._session.exec(select(PartRow.number_folded, PartRow.key)).all())

    @cached_property
    def revisions(self) -> dict[tuple[str, str], str]:
        """By the part's key and the letter."""
        found = self._session.exec(select(RevisionRow.part_key, RevisionRow.letter, RevisionRow.key))
        return {(part, letter): key for part, letter, key in found}

    @cached_property
    def robots(self) -> dict[str, str]:
        """By name."""
        return dict(self._session.exec(select(RobotRow.name, RobotRow.key)).all())

    @cached_property
    def assemblies(self) -> dict[tuple[str, str], str]:
        """By the robot's key and the name."""
        found = self._session.exec(select(AssemblyRow.robot_key, AssemblyRow.name, AssemblyRow.key))
        return {(robot, name): key for robot, name, key in found}

    @cached_property
    def parents(self) -> dict[str, str | None]:
        """Of each assembly by its key."""
        return dict(self._session.exec(select(AssemblyRow.key, AssemblyRow.parent_key)).all())

    @cached_property
    def positions(self) -> dict[tuple[str, str], str]:
        """By the robot's key and the name."""
        found = self._session.exec(select(PositionRow.robot_key, PositionRow.name, PositionRow.key))
        return {(robot, name): key for robot, name, key in found}

    @cached_property
    def fitted(self) -> dict[tuple[str, int], str]:
        """By the position's key and the slot."""
        found = self._session.exec(select(FittedRow.position_key, FittedRow.slot, FittedRow.key))
        return {(position, slot): key for position, slot, key in found}

    @cached_property
    def lots(self) -> dict[str, str]:
        """By label."""
        return dict(self._session.exec(select(LotRow.label, LotRow.key)).all())

    @cached_property
    def competitions(self) -> dict[str, str]:
        """By name."""
        return dict(self._session.exec(select(CompetitionRow.name, CompetitionRow.key)).all())

    @cached_property
    def entries(self) -> dict[tuple[str, str], str]:
        """By the keys of the competition and the robot."""
        found = self._session.exec(select(EntryRow.competition_key, EntryRow.robot_key, EntryRow.key))
        return {(competition, robot): key for competition, robot, key in found}

    @cached_property
    def amounts(self) -> dict[str, float]:
        """What each lot holds, exactly as its moves add up, by label."""
        return {lot.label: lot.amount for lot in stock.lots(self._reading)}
