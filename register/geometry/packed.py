"""3MF files: the triangles that a package holds, or a refusal; nothing that it says of its own size is trusted."""

import io
import struct
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass

from register.errors import BadMesh
from register.geometry.packed_model import EXPORT_PLAIN, Floats, ModelReader
from register.geometry.packed_xml import Attributes, walk

ZIP_START = b"PK\x03\x04"
LARGEST_BYTES = 100_000_000
LARGEST_MODEL_BYTES = 150_000_000
LARGEST_LIST_BYTES = 1_000_000
MOST_ENTRIES = 1_000
# Meshes written as text shrink to between a fourth and a thirtieth; deflate reaches 1,030 on nothing but repetition.
MOST_RATIO = 200
RATIO_FROM_BYTES = 1_000_000
# Two ways of packing are open to a 3MF file. Source: ISO/IEC 29500-2, zip profile (from memory).
PLAIN, DEFLATED = zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED
IS_ENCRYPTED = 0x1

CONTENT_TYPES = "[content_types].xml"
RELATIONSHIPS = "_rels/.rels"
# The end of the relationship's type that names the model. Source: 3MF core specification 1.3, section 2.1 (memory).
MODEL_TYPE = "/3dmanufacturing/2013/01/3dmodel"

# What damaged bytes raise inside zipfile beside its own error.
DAMAGE = (
    zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, ValueError, RuntimeError, LookupError,
    ArithmeticError,
)  # fmt: skip

COPY_AGAIN = "Copy or export it again."


@dataclass(frozen=True)
class Packed:
    """Triangles (n, 3, 3) in the file's own unit, `unit_mm` millimetres each, and what is to be said of them."""

    triangles: Floats
    unit: str
    unit_mm: float
    warnings: tuple[str, ...]


def is_packed(content: bytes) -> bool:
    """Whether a file begins as a zip archive does."""
    return content.startswith(ZIP_START)


def packed_triangles(content: bytes, name: str) -> Packed:
    """Corners of every facet that a 3MF file puts into its build.

    Parameters
    ----------
    content
        The whole file.
    name
        For messages.

    Returns
    -------
    Packed
        At least one triangle; coordinates not yet known to be finite.

    Raises
    ------
    BadMesh
        If the bytes are no 3MF file, are damaged, need an extension of the format, or unfold into too much.

    Notes
    -----
    Source: 3MF core specification (ISO/IEC 25422): the package by its relationships, meshes, components, transforms
    and build items.
    """
    archive, entries = _opened(content, name)
    try:
        with archive:
            if CONTENT_TYPES not in entries or RELATIONSHIPS not in entries:
                raise BadMesh(f"{name} is a zip archive without the parts of a 3MF file.", "Give an STL or a 3MF file.")
            target = _model_target(archive, entries[RELATIONSHIPS], name)
            entry = entries.get(target)
            if entry is None:
                raise BadMesh(f"{name} names a model that is not in it.", "Export it again.")
            model = ModelReader(name)
            _refuse_swollen(entry, LARGEST_MODEL_BYTES, name)
            with archive.open(entry) as source:
                walk(source, model.start, model.end, name)
    except DAMAGE as fault:
        raise BadMesh(f"{name} is a damaged zip archive.", COPY_AGAIN) from fault
    triangles = model.triangles()
    return Packed(triangles, model.unit, model.unit_mm, tuple(model.warnings))


def _opened(content: bytes, name: str) -> tuple[zipfile.ZipFile, dict[str, zipfile.ZipInfo]]:
    """The archive and its entries by their names without regard to case. Nothing is ever unpacked to the disk."""
    if len(content) > LARGEST_BYTES:
        raise BadMesh(
            f"{name} has {len(content) / 1e6:.0f} MB; at most {LARGEST_BYTES / 1e6:.0f} MB are read.",
            "Export it with a coarser tolerance.",
        )
    # Counted before the library makes an object of each: the archive's own count may say anything.
    if content.count(b"PK\x01\x02") > MOST_ENTRIES:
        raise BadMesh(f"{name} is a zip archive of more than {MOST_ENTRIES} entries.", EXPORT_PLAIN)
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
    except DAMAGE as fault:
        raise BadMesh(f"{name} is a damaged zip archive.", COPY_AGAIN) from fault
    return archive, _entries(archive.infolist(), name)


def _entries(found: Iterable[zipfile.ZipInfo], name: str) -> dict[str, zipfile.ZipInfo]:
    entries: dict[str, zipfile.ZipInfo] = {}
    for each in found:
        # Two names that differ in case alone are one name in a package, and which is meant cannot be told.
        if entries.setdefault(each.filename.casefold(), each) is not each:
            raise BadMesh(f"{name} is a zip archive that holds one name twice.", "Export it again.")
    return entries


def _refuse_swollen(entry: zipfile.ZipInfo, largest_bytes: int, name: str) -> None:
    """Refuse what says that it is too large, or packed in no plain way; reading then never passes what it said."""
    if entry.flag_bits & IS_ENCRYPTED or entry.compress_type not in (PLAIN, DEFLATED):
        raise BadMesh(f"{name} is locked, or packed in a way that is not read.", "Export it again without a password.")
    if entry.file_size > largest_bytes:
        raise BadMesh(
            f"{name} unpacks to {entry.file_size / 1e6:.0f} MB; at most {largest_bytes / 1e6:.0f} MB are read.",
            "Export it with a coarser tolerance.",
        )
    if entry.file_size > max(RATIO_FROM_BYTES, MOST_RATIO * entry.compress_size):
        raise BadMesh(f"{name} unpacks to more than {MOST_RATIO} times its size.", "Export it again, or as STL.")


def _model_target(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, name: str) -> str:
    """The name of the entry that holds the model, as the package says it."""
    targets: list[str] = []

    def start(tag: str, attributes: Attributes) -> None:
        if tag.endswith(" Relationship") and attributes.get("Type", "").endswith(MODEL_TYPE):
            if attributes.get("TargetMode", "Internal") != "Internal":
                raise BadMesh(f"{name} has its model in another place.", EXPORT_PLAIN)
            targets.append(attributes.get("Target", ""))

    _refuse_swollen(entry, LARGEST_LIST_BYTES, name)
    with archive.open(entry) as source:
        walk(source, start, lambda tag: None, name)
    if len(set(targets)) != 1:
        raise BadMesh(f"{name} is a zip archive that names {len(set(targets))} models.", "Give an STL or a 3MF file.")
    return targets[0].lstrip("/").casefold()
