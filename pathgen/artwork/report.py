"""The read report: every decision and everything left out, gathered while reading; equal remarks are counted once."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pathgen.artwork.model import Note


@dataclass
class _Entry:
    note: Note
    count: int = 1


class Report:
    """Collects `Note`s; the same code and text on the same layer is one note with a count and the first place."""

    def __init__(self) -> None:
        self._entries: dict[tuple[str, str, str | None], _Entry] = {}

    def say(
        self,
        code: str,
        text: str,
        *,
        where: tuple[float, float] | None = None,
        layer: str | None = None,
        line: int | None = None,
        element: str | None = None,
    ) -> None:
        """Add a note; see `Note` for the arguments."""
        key = (code, text, layer)
        entry = self._entries.get(key)
        if entry is not None:
            entry.count += 1
            return
        place = None if where is None else (round(float(where[0]), 6), round(float(where[1]), 6))
        self._entries[key] = _Entry(Note(code=code, text=text, where=place, layer=layer, line=line, element=element))

    def notes(self) -> tuple[Note, ...]:
        """Return all notes in the order they first came up."""
        return tuple(
            e.note if e.count == 1 else replace(e.note, text=f"{e.note.text} ({e.count} times, first here)")
            for e in self._entries.values()
        )

    def summary(self) -> str:
        """Return what was left out, in one line, for messages about an empty drawing."""
        quiet = ("size", "units")
        return "; ".join(n.text for n in self.notes() if n.code not in quiet)
