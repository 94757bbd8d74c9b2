"""Where the demo shop's files are, in a wheel, an editable install or a checkout."""

from importlib.resources import files
from pathlib import Path

from register.errors import BadFile


def demo_folder() -> Path:
    """The folder `demo_parts`.

    Raises
    ------
    BadFile
        If this installation has none.
    """
    package = Path(str(files("register")))
    for folder in (package / "demo_parts", package.parent / "demo_parts"):
        if (folder / "shop.toml").is_file():
            return folder
    raise BadFile("This installation has no demo files.", "Install pitwright again from its source.")
