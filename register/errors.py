"""The error tree: what a person is told when something cannot be done, and the exit code that goes with it."""


class RegisterError(Exception):
    """Base of every error that a person may see.

    Parameters
    ----------
    what
        One sentence that names the thing and what is wrong with it.
    cure
        One sentence that says what to do about it.
    """

    exit_code = 1

    def __init__(self, what: str, cure: str) -> None:
        super().__init__(what, cure)
        self.what = what
        self.cure = cure

    def __str__(self) -> str:
        return f"{self.what} {self.cure}".strip()


class Refused(RegisterError):
    """The person can put it right."""

    exit_code = 3


class BadText(Refused):
    """A name, number or note that cannot be kept as it stands."""


class BadQuantity(Refused):
    """A written quantity that cannot be read without guessing."""


class BadMesh(Refused):
    """A mesh file that cannot be trusted."""


class BadDrawing(Refused):
    """A drawing that gives no sure outline."""


class BadSettings(Refused):
    """A shop.toml that says something unknown, out of range or in another unit."""


class BadFile(Refused):
    """A file that is missing, unreadable, too large or of an unknown kind."""


class UnknownMaterial(Refused):
    """A material that the settings in force do not hold."""


class DoesNotFit(Refused):
    """A part that no machine of its process can hold."""


class NoSpare(Refused):
    """No usable piece is on hand."""


class NotAllowed(Refused):
    """A move that the rules of the shop or of a state forbid."""


class StaleEdit(Refused):
    """What the edit stood on has changed meanwhile."""


class Cancelled(Refused):
    """The person stopped the work; nothing was written."""


class NotFound(RegisterError):
    """A thing named is not in the register."""

    exit_code = 4


class StoreBroken(RegisterError):
    """The register itself cannot be opened, read or written."""

    exit_code = 5


class NeedsUpgrade(StoreBroken):
    """A sound register of an earlier schema, which nobody has asked to upgrade yet."""
