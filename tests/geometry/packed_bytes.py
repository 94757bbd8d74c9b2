"""The bytes of 3MF files made from triangles, and of packages that are none."""

import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from tests.geometry.stl_bytes import Triangles

# Namespaces of the package and of the core. Source: ISO/IEC 29500-2 and ISO/IEC 25422.
RELATIONSHIPS = "http://schemas.openxmlformats.org/package/2006/relationships"
TYPES = "http://schemas.openxmlformats.org/package/2006/content-types"
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
MODEL_TYPE = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
MODEL = "3D/3dmodel.model"

CONTENT_TYPES = (
    f'<?xml version="1.0" encoding="UTF-8"?><Types xmlns="{TYPES}">'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
ROOT = (
    f'<?xml version="1.0" encoding="UTF-8"?><Relationships xmlns="{RELATIONSHIPS}">'
    f'<Relationship Target="/{MODEL}" Id="rel0" Type="{MODEL_TYPE}"/></Relationships>'
)


def mesh_object(number: int, triangles_mm: Triangles, kind: str = "model") -> str:
    """One object with corners shared."""
    points, faces = np.unique(triangles_mm.reshape(-1, 3), axis=0, return_inverse=True)
    vertices = "".join(f'<vertex x="{x:.9g}" y="{y:.9g}" z="{z:.9g}"/>' for x, y, z in points)
    facets = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces.reshape(-1, 3))
    inner = f"<mesh><vertices>{vertices}</vertices><triangles>{facets}</triangles></mesh>"
    return f'<object id="{number}" type="{kind}">{inner}</object>'


def components(number: int, parts: Iterable[tuple[int, str]]) -> str:
    """One object made of others, each with its transform or an empty text."""
    inner = "".join(f'<component objectid="{part}"{_transform(how)}/>' for part, how in parts)
    return f'<object id="{number}" type="model"><components>{inner}</components></object>'


def model(objects: Sequence[str], items: Iterable[tuple[int, str]], more: str = 'unit="millimeter"') -> str:
    """The model: objects, and the build items with their transforms."""
    build = "".join(f'<item objectid="{number}"{_transform(how)}/>' for number, how in items)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><model {more} xml:lang="en-US" xmlns="{CORE}">'
        f"<resources>{''.join(objects)}</resources><build>{build}</build></model>"
    )


def package(text: str | bytes, more: Mapping[str, str | bytes] | None = None) -> bytes:
    """A package around the text of a model; `more` adds entries or stands in for the usual ones."""
    entries: dict[str, str | bytes] = {"[Content_Types].xml": CONTENT_TYPES, "_rels/.rels": ROOT, MODEL: text}
    return zipped(entries | dict(more or {}))


def zipped(entries: Mapping[str, str | bytes], way: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip archive."""
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", way) as archive:
        for name, content in entries.items():
            archive.writestr(zipfile.ZipInfo(name, (2031, 3, 4, 12, 0, 0)), content, way)
    return kept.getvalue()


def packed(triangles_mm: Triangles, more: str = 'unit="millimeter"', transform: str = "") -> bytes:
    """A 3MF file of one part."""
    return package(model([mesh_object(1, triangles_mm)], [(1, transform)], more))


def _transform(how: str) -> str:
    return f' transform="{how}"' if how else ""
