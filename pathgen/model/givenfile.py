"""`bytes_of`: what is in a file that a user named, or an error that says what to do."""

from __future__ import annotations

from pathlib import Path

from pathgen.errors import DrawingError, MissingFileError


def bytes_of(file: str, *, largest: int, folder: str, large: str) -> bytes:
    """Return the bytes of a file.

    Args:
        file: its path.
        largest: bytes.
        folder: what to say of a folder: what to name instead.
        large: what to say of a larger file.

    Raises:
        MissingFileError: there is no such file.
        DrawingError: a folder, a file larger than `largest`, or one that cannot be read.
    """
    place = Path(file)
    try:
        if place.is_dir():
            raise DrawingError(f"this is a folder: {folder}", file=file)
        if place.stat().st_size > largest:
            raise DrawingError(f"this file is larger than {largest / 1e6:g} MB{large}", file=file)
        return place.read_bytes()
    except DrawingError:
        raise
    except FileNotFoundError:
        raise MissingFileError("there is no such file: check the path", file=file) from None
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise DrawingError(f"the file cannot be read ({why}): check its path and permissions", file=file) from None
