"""Files written all or not at all."""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path as FilePath

from pathgen.errors import ArgumentError, WriteError

OURS = (".html", ".svg", ".png")
"""Suffixes of the sheet and the pictures, which no program may have."""

_SUFFIX = re.compile(r"\.[A-Za-z0-9]{1,16}")


def check_suffix(suffix: str) -> None:
    """Raise `ArgumentError` unless `suffix` is a dot and 1 to 16 letters or digits, and not one of `OURS`."""
    if not isinstance(suffix, str) or not _SUFFIX.fullmatch(suffix):
        raise ArgumentError(f"suffix={suffix!r} must be a dot and up to 16 letters A-Z a-z or digits, such as '.rs274'")
    if suffix.lower() in OURS:
        raise ArgumentError(f"suffix={suffix!r} is that of the sheet or a picture: take another for the programs")


def folder_for(folder: str | os.PathLike[str]) -> FilePath:
    """Return `folder` as a path.

    Raises:
        ArgumentError: where it cannot be one.
        WriteError: where a file is in its way.
    """
    if not isinstance(folder, str | os.PathLike) or not os.fsdecode(folder):
        raise ArgumentError(f"folder={folder!r} is no path: give the folder to write into, '.' for the present one")
    path = FilePath(os.fsdecode(folder))
    if "\0" in str(path):
        raise ArgumentError(f"folder={str(path)!r} holds a zero character: take it out")
    for part in (path, *path.parents):
        try:
            there, is_folder = part.exists(), part.is_dir()
        except OSError as err:
            raise WriteError(f"{_short(part)} cannot be a folder ({err.strerror}): give another") from None
        if there and not is_folder:
            raise WriteError(f"{_short(part)} is a file, not a folder: give another folder")
        if there:
            break
    return path


def write_all(folder: FilePath, files: Mapping[str, str | bytes]) -> list[FilePath]:
    """Write every file beside its place, then put them all there; return their places.

    Args:
        folder: made if it is not there, with those above it.
        files: content by name; text is written as UTF-8.

    Raises:
        WriteError: where that fails, with the place and the reason. Then no new file is left, files that were there
            before are as they were, and folders made on the way are taken away.
    """
    made: list[FilePath] = []
    beside: list[tuple[FilePath, FilePath]] = []
    kept: list[tuple[FilePath, FilePath]] = []
    done: list[FilePath] = []
    place = folder
    try:
        missing = [p for p in (folder, *folder.parents) if not p.exists()]
        for place in reversed(missing):
            place.mkdir()
            made.append(place)
        for name, content in files.items():
            place = folder / name
            if place.is_dir():
                raise WriteError(f"{_short(place)} is a folder, so no file of this name can be written: move it away")
            handle, temporary = tempfile.mkstemp(dir=folder, prefix=".part-", suffix=".tmp")
            beside.append((FilePath(temporary), place))
            with os.fdopen(handle, "wb") as out:
                out.write(content.encode() if isinstance(content, str) else content)
                out.flush()
                os.fsync(out.fileno())
            os.chmod(temporary, 0o644)
        for temporary_path, place in beside:
            if place.exists():
                old = temporary_path.with_suffix(".old")
                os.replace(place, old)
                kept.append((old, place))
            os.replace(temporary_path, place)
            done.append(place)
    except BaseException as err:
        _undo(made, [p for p, _ in beside], kept, done)
        if isinstance(err, OSError) and not isinstance(err, WriteError):
            reason = err.strerror or type(err).__name__
            raise WriteError(
                f"{_short(place)} cannot be written ({reason}), so nothing was: make room, or give another folder"
            ) from err
        raise
    for old, _ in kept:
        old.unlink(missing_ok=True)
    return done


def _undo(
    made: list[FilePath], beside: list[FilePath], kept: list[tuple[FilePath, FilePath]], done: list[FilePath]
) -> None:
    """Leave the disk as it was found, as far as it lets itself be written."""
    for path in (*beside, *done):
        _try(path.unlink)
    for old, place in kept:
        _try(partial(os.replace, old, place))
    for path in reversed(made):
        _try(path.rmdir)


def _try(step: Callable[[], None]) -> None:
    """Do a step of tidying up; a disk that refuses it must not hide what went wrong before."""
    with contextlib.suppress(OSError):
        step()


def _short(path: FilePath) -> str:
    """Return a path for a message, its middle left out where it is very long."""
    words = ascii(str(path))[1:-1] if not str(path).isprintable() else str(path)
    return words if len(words) <= 160 else f"{words[:80]} ... {words[-60:]}"
