"""Folders of a squad: where libraries are, what each is called, and the groups kept beside them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import yaml

from footwork.errors import UsageError
from footwork.store import stamps

GROUPS_FILE = "groups.yaml"


def is_library(folder: Path) -> bool:
    """Whether a folder holds a runner's library."""
    return (folder / stamps.FILE_NAME).is_file()


def inside(folder: Path) -> list[Path]:
    """The libraries of a folder and what stands beside them; the folder itself where it is one."""
    if is_library(folder):
        return [folder]
    return sorted(p for p in folder.iterdir() if p.is_dir() and not p.name.startswith("."))


def named(folders: Sequence[Path]) -> dict[str, Path]:
    """Each folder by its name; of two with one name each by its parent's too, and by its whole path if that is not
    enough."""
    out: dict[str, Path] = {}
    places = list(dict.fromkeys(f.resolve() for f in folders))
    names = [p.name for p in places]
    longer = [f"{p.name} ({p.parent.name})" for p in places]
    for k, place in enumerate(places):
        name = names[k] if names.count(names[k]) == 1 else longer[k]
        out[name if longer.count(longer[k]) == 1 or name == names[k] else str(place)] = place
    return out


def write_groups(folder: Path, groups: dict[str, list[str]]) -> None:
    """Keep groups in a folder; empty ones are forgotten. Raises LibraryError."""
    from footwork.maintenance import export

    text = yaml.safe_dump({g: ns for g, ns in groups.items() if ns}, allow_unicode=True, sort_keys=True)
    export.write_whole(folder / GROUPS_FILE, text.encode())


def read_groups(folder: Path) -> dict[str, list[str]]:
    """Groups as the folder keeps them. Raises UsageError for a file that holds none."""
    path = folder / GROUPS_FILE
    if is_library(folder) or not path.is_file():
        return {}
    try:
        found = yaml.safe_load(path.read_text(encoding="utf-8")) or {}
        if not all(isinstance(names, list) for names in found.values()):
            raise TypeError
        return {str(group): [str(n) for n in names] for group, names in found.items()}
    except (yaml.YAMLError, UnicodeDecodeError, AttributeError, TypeError):
        raise UsageError(f"{path} holds no groups: write a line a group, as 'sprinters: [anna, ben]'") from None
    except OSError as error:
        raise UsageError(f"{path} cannot be read: {error.strerror or error}") from None
