"""`program_text`: a program file as text, whatever wrote it."""

from __future__ import annotations

import os

from pathgen.errors import DrawingError
from pathgen.model.givenfile import bytes_of

LARGEST = 200_000_000
"""Bytes: about eight million lines. A longer program would need more memory than a small computer has."""

MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
"""Byte order marks and what they stand for (The Unicode Standard, section 23.8)."""


def program_text(path: str | os.PathLike[str]) -> str:
    """Return the text of a program file.

    RS-274 itself is plain ASCII. Comments may be in any old code page: what is not UTF-8 is taken byte by byte
    (ISO 8859-1), which changes no word of the program; foreign characters outside comments are findings when the
    text is read.

    Args:
        path: of the file.

    Raises:
        MissingFileError: there is no such file.
        DrawingError: a folder, an empty or binary file, one larger than `LARGEST`, or one that cannot be read.
    """
    file = os.fspath(path)
    data = bytes_of(
        file,
        largest=LARGEST,
        folder="name the program files in it",
        large=": split the program, and check its parts together",
    )
    code = next((code for mark, code in MARKS if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(code)
    except UnicodeDecodeError:
        text = data.decode("iso-8859-1")
    if not text.strip():
        raise DrawingError("the file is empty: write the program again", file=file)
    if "\0" in text:
        raise DrawingError("this is no text but a binary file: name a program in RS-274", file=file)
    return text
