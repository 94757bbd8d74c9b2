"""What pitwright brings with it may be used, changed and passed on freely; its licences are read from the install."""

import re
from collections.abc import Iterator
from email.message import Message
from importlib.metadata import Distribution, PackageNotFoundError, PathDistribution, distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

# SPDX identifiers: permissive licences, and weak copyleft that binds changes to the library alone.
ALLOWED = {
    *("MIT", "MIT-0", "MIT-CMU", "ISC", "0BSD", "BSD", "BSD-2-Clause", "BSD-3-Clause", "Apache-2.0", "PSF-2.0"),
    *("Python-2.0", "Zlib", "Unlicense", "CC0-1.0", "HPND", "BSL-1.0"),
    *("MPL-2.0", "LGPL-2.1-only", "LGPL-2.1-or-later", "LGPL-3.0-only", "LGPL-3.0-or-later"),
}
# Older metadata names licences in words: the trove classifiers, and short texts of the License field.
WORDS = {
    "License :: OSI Approved :: MIT License": "MIT",
    "License :: OSI Approved :: BSD License": "BSD",
    "License :: OSI Approved :: ISC License (ISCL)": "ISC",
    "License :: OSI Approved :: Apache Software License": "Apache-2.0",
    "License :: OSI Approved :: Python Software Foundation License": "PSF-2.0",
    "License :: OSI Approved :: Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "License :: OSI Approved :: zlib/libpng License": "Zlib",
    "License :: OSI Approved :: The Unlicense (Unlicense)": "Unlicense",
    "3-Clause BSD License": "BSD-3-Clause",
    "BSD License": "BSD",
    "Apache 2.0": "Apache-2.0",
    "Apache License 2.0": "Apache-2.0",
    "MIT License": "MIT",
    "ISC License": "ISC",
}


def stated_licences(metadata: Message) -> list[str]:
    """Each licence statement of one package, as SPDX where the words are known; all of them bind."""
    expression = metadata.get("License-Expression")
    if expression:
        return [expression]
    classifiers = [line for line in metadata.get_all("Classifier", []) if line.startswith("License :: ")]
    stated = classifiers or [metadata.get("License", "")]
    return [WORDS.get(words.strip(), words.strip()) for words in stated]


def is_allowed(expression: str) -> bool:
    """Whether an SPDX expression can be met with allowed licences alone: AND needs both, OR needs one.

    Notes
    -----
    AND binds tighter than OR. Source: SPDX specification, annex on licence expressions (from memory).
    """
    words = re.findall(r"[()]|[^\s()]+", expression)
    value, rest = either(words)
    return value and not rest


def either(words: list[str]) -> tuple[bool, list[str]]:
    value, rest = both(words)
    while rest and rest[0].upper() == "OR":
        right, rest = both(rest[1:])
        value = value or right
    return value, rest


def both(words: list[str]) -> tuple[bool, list[str]]:
    value, rest = single(words)
    while rest and rest[0].upper() == "AND":
        right, rest = single(rest[1:])
        value = value and right
    return value, rest


def single(words: list[str]) -> tuple[bool, list[str]]:
    if not words:
        return False, []
    if words[0] == "(":
        value, rest = either(words[1:])
        return value and rest[:1] == [")"], rest[1:]
    # An exception ("WITH ...") only adds permissions to the licence before it.
    rest = words[3:] if len(words) > 2 and words[1].upper() == "WITH" else words[1:]
    return words[0] in ALLOWED, rest


def refused_licences(found: Distribution) -> list[str]:
    return [
        f"{found.metadata['Name']} {found.version}: {licence or 'no licence stated'}"
        for licence in stated_licences(found.metadata)
        if not is_allowed(licence)
    ]


def needs(found: Distribution, extras: set[str]) -> Iterator[tuple[str, set[str], bool]]:
    """What a distribution asks for on this machine: name, its extras, whether only an extra of ours asks for it."""
    for line in found.requires or []:
        wanted = Requirement(line)
        plain = wanted.marker is None or wanted.marker.evaluate({"extra": ""})
        if plain or any(wanted.marker.evaluate({"extra": extra}) for extra in extras):
            yield canonicalize_name(wanted.name), wanted.extras, not plain


def runtime_packages() -> dict[str, Distribution]:
    """Every package that pitwright with its extra `proof` loads; what only the extra asks for may be absent."""
    reached: dict[str, Distribution] = {}
    seen: set[tuple[str, str]] = set()
    waiting = list(needs(distribution("pitwright"), {"proof"}))
    while waiting:
        name, extras, optional = waiting.pop()
        asked = {(name, extra) for extra in extras | {""}}
        if asked <= seen:
            continue
        seen |= asked
        try:
            reached[name] = distribution(name)
        except PackageNotFoundError:
            if not optional:
                raise
            continue
        waiting += needs(reached[name], extras)
    return reached


def test_everything_that_pitwright_brings_may_be_passed_on() -> None:
    packages = runtime_packages()
    # From pyproject.toml, and one that is reached through another package only.
    assert {"numpy", "sqlalchemy", "textual", "typer", "pydantic-core"} <= set(packages)
    refused = [line for found in packages.values() for line in refused_licences(found)]
    assert not refused, "\n".join(refused)


@pytest.mark.parametrize(
    "statement",
    [
        "License-Expression: GPL-3.0-only",
        "License-Expression: MIT AND AGPL-3.0-or-later",
        "License: GPL",
        "License: Free for non-commercial use",
        "Classifier: License :: OSI Approved :: GNU General Public License v3 (GPLv3)",
        "Classifier: License :: OSI Approved :: MIT License\nClassifier: License :: Other/Proprietary License",
        "Summary: states no licence",
    ],
)
def test_package_that_may_not_be_passed_on_is_refused(statement: str, tmp_path: Path) -> None:
    folder = tmp_path / "planted-1.0.dist-info"
    folder.mkdir()
    (folder / "METADATA").write_text(f"Metadata-Version: 2.4\nName: planted\nVersion: 1.0\n{statement}\n", "utf-8")
    assert len(refused_licences(PathDistribution(folder))) == 1


@pytest.mark.parametrize(
    ("expression", "allowed"),
    [
        ("MIT", True),
        ("GPL-2.0-only", False),
        ("MIT OR GPL-2.0-only", True),
        ("MIT AND GPL-2.0-only", False),
        ("GPL-2.0-only OR MIT AND ISC", True),
        ("(GPL-2.0-only OR MIT) AND ISC", True),
        ("MIT AND (GPL-2.0-only OR AGPL-3.0-only)", False),
        ("Apache-2.0 WITH LLVM-exception", True),
        ("GPL-3.0-only WITH Classpath-exception-2.0", False),
        ("BSD-3-Clause AND 0BSD AND MIT AND Zlib AND CC0-1.0", True),
        ("MIT Apache-2.0", False),
        ("(MIT", False),
        ("", False),
    ],
)
def test_licence_expression_is_met_only_by_allowed_licences(expression: str, allowed: bool) -> None:
    assert is_allowed(expression) is allowed
