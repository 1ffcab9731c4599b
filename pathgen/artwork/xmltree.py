"""XML into a plain tree with line numbers, safely: no outside entity is fetched, size, depth and count are capped.

Namespaces are matched by local name, because real drawings come without `xmlns`, with a prefix, or with unbound
prefixes; elements of other namespaces are kept but marked foreign.
"""

from __future__ import annotations

import gzip
import io
import zlib
from dataclasses import dataclass, field
from typing import Final
from xml.parsers import expat

from pathgen.errors import DrawingError

SVG_NAMESPACE: Final = "http://www.w3.org/2000/svg"
MOST_BYTES: Final = 64 * 2**20
"""Bytes of a drawing, unpacked. Larger: a packed bomb of a few kB could fill the memory."""
MOST_ELEMENTS: Final = 1_000_000
MOST_DEPTH: Final = 10_000
_KEPT_PREFIXED: Final = frozenset({"href", "label", "groupmode"})


@dataclass(eq=False, slots=True)
class Node:
    """One element.

    Attributes:
        tag: local name; "" for an element of another namespace than SVG's.
        attrs: by local name; prefixed ones only where a reader needs them (href, label, groupmode).
        line: line in the file, from 1.
        parent: the element around it.
        children: in document order.
        text: its own character data.
    """

    tag: str
    attrs: dict[str, str]
    line: int
    parent: Node | None
    children: list[Node] = field(default_factory=list)
    text: str = ""

    @property
    def id(self) -> str | None:
        """The id, or None."""
        return self.attrs.get("id") or None


def unpack(data: bytes, file: str) -> bytes:
    """Return `data`, gunzipped where its first bytes say so, never beyond `MOST_BYTES`.

    Raises:
        DrawingError: damaged, or too large.
    """
    if data[:2] == b"\x1f\x8b":
        try:
            with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:
                data = stream.read(MOST_BYTES + 1)
        except (OSError, EOFError, zlib.error) as error:
            raise DrawingError(f"the packed drawing is damaged ({error}): export it again", file=file) from None
    if len(data) > MOST_BYTES:
        raise DrawingError(
            f"the drawing is larger than {MOST_BYTES >> 20} MB: split it, or take out pictures", file=file
        )
    return data


class _Builder:
    def __init__(self, file: str) -> None:
        self.file = file
        self.root: Node | None = None
        self.open: list[Node] = []
        self.scopes: list[dict[str, str]] = [{}]
        self.count = 0
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.data
        self.parser.ExternalEntityRefHandler = self.outside

    def fail(self, message: str) -> DrawingError:
        return DrawingError(message, file=self.file, line=self.parser.CurrentLineNumber)

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Open an element, within the budgets of count and depth."""
        self.count += 1
        if self.count > MOST_ELEMENTS:
            raise self.fail(f"more than {MOST_ELEMENTS} elements: split the drawing")
        if len(self.open) >= MOST_DEPTH:
            raise self.fail(f"elements nested more than {MOST_DEPTH} deep: ungroup the drawing")
        scope = self.scopes[-1]
        spaces = {k[6:]: v for k, v in attributes.items() if k.startswith("xmlns:")}
        if "xmlns" in attributes:
            spaces[""] = attributes["xmlns"]
        if spaces:
            scope = {**scope, **spaces}
        self.scopes.append(scope)
        prefix, _, local = name.rpartition(":")
        known = scope.get(prefix, SVG_NAMESPACE if prefix in ("", "svg") else "?")
        attrs: dict[str, str] = {}
        for key, value in attributes.items():
            space, _, short = key.rpartition(":")
            if not space or (short in _KEPT_PREFIXED and short not in attributes):
                attrs[short] = value
        parent = self.open[-1] if self.open else None
        node = Node(local if known == SVG_NAMESPACE else "", attrs, self.parser.CurrentLineNumber, parent)
        if parent is None:
            self.root = node
        else:
            parent.children.append(node)
        self.open.append(node)

    def end(self, _name: str) -> None:
        self.open.pop()
        self.scopes.pop()

    def data(self, text: str) -> None:
        if self.open and (self.open[-1].tag == "style" or not text.isspace()):
            self.open[-1].text += text

    def outside(self, _context: str, _base: str | None, system: str | None, public: str | None) -> int:
        raise self.fail(f"it refers to an outside file ({system or public}), which is never fetched: remove the entity")


def parse_xml(data: bytes, file: str) -> Node:
    """Return the root element of an XML document.

    Args:
        data: as read from the file, unpacked.
        file: for messages.

    Raises:
        DrawingError: not well formed (with the line), an outside entity, or too large.
    """
    if tuple(int(v) for v in expat.EXPAT_VERSION.removeprefix("expat_").split(".")[:2]) < (2, 4):
        raise DrawingError(  # pragma: no cover - depends on the machine
            f"this Python's XML parser ({expat.EXPAT_VERSION}) does not stop entity bombs: update Python", file=file
        )
    builder = _Builder(file)
    try:
        builder.parser.Parse(data, True)
    except expat.ExpatError as error:
        raise DrawingError(
            f"not well-formed XML ({expat.errors.messages[error.code]}): export the drawing again",
            file=file,
            line=error.lineno,
        ) from None
    except (ValueError, LookupError) as error:
        if isinstance(error, DrawingError):
            raise
        raise DrawingError(f"its text encoding cannot be read ({error}): save it as UTF-8", file=file) from None
    if builder.root is None:  # pragma: no cover - expat reports "no element found" first
        raise DrawingError("no element in the file", file=file)
    return builder.root
