"""The cascade: presentation attributes < style sheets < style attributes, and what is inherited.

CSS Cascade 4, Selectors 3 (type, class, id, universal, compound, descendant and child), SVG 1.1 chapter 6.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import tinycss2
import tinycss2.color4

from pathgen.artwork.xmltree import Node

INHERITED: Final = {
    "fill": "black",
    "fill-rule": "nonzero",
    "fill-opacity": "1",
    "stroke": "none",
    "stroke-width": "1",
    "stroke-linecap": "butt",
    "stroke-linejoin": "miter",
    "stroke-miterlimit": "4",
    "stroke-dasharray": "none",
    "stroke-opacity": "1",
    "visibility": "visible",
    "clip-rule": "nonzero",
    "color": "black",
    "font-size": "16",
    "marker-start": "none",
    "marker-mid": "none",
    "marker-end": "none",
}
"""Properties that a child takes from its parent, with their first values (SVG 1.1 appendix N)."""

OWN: Final = {
    "opacity": "1",
    "display": "inline",
    "clip-path": "none",
    "mask": "none",
    "filter": "none",
    "transform": "",
    "transform-origin": "",
    "transform-box": "",
    "overflow": "",
    "vector-effect": "none",
    "mix-blend-mode": "normal",
}
GEOMETRY: Final = frozenset({"x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "d"})
"""Geometry that a style may set too: SVG 2 section 7."""
KNOWN: Final = frozenset({*INHERITED, *OWN, *GEOMETRY, "marker"})
_SIMPLE: Final = re.compile(r"(\*|[A-Za-z][\w-]*)?((?:[.#][\w\\-]+)*)$")


@dataclass(frozen=True)
class _Compound:
    """One compound selector, such as path.leaf#big."""

    tag: str | None
    id: str | None
    classes: frozenset[str]

    def matches(self, node: Node) -> bool:
        """Return whether one simple selector (type, id, classes) fits an element."""
        return (
            (self.tag is None or self.tag == node.tag)
            and (self.id is None or self.id == node.attrs.get("id"))
            and (not self.classes or self.classes <= set(node.attrs.get("class", "").split()))
        )


@dataclass(frozen=True)
class _Selector:
    """Compounds from the element outwards; `direct` tells whether the next one out must be the parent."""

    parts: tuple[_Compound, ...]
    direct: tuple[bool, ...]
    weight: tuple[int, int, int]

    def matches(self, node: Node) -> bool:
        """Return whether the whole selector, read from the element outwards, fits."""
        if not self.parts[0].matches(node):
            return False
        return self._outwards(node.parent, 1)

    def _outwards(self, node: Node | None, k: int) -> bool:
        if k == len(self.parts):
            return True
        if self.direct[k - 1]:
            return node is not None and self.parts[k].matches(node) and self._outwards(node.parent, k + 1)
        while node is not None:
            if self.parts[k].matches(node) and self._outwards(node.parent, k + 1):
                return True
            node = node.parent
        return False


@dataclass(frozen=True)
class _Rule:
    selector: _Selector
    order: int
    name: str
    value: str
    important: bool


def _compound(text: str) -> _Compound | None:
    found = _SIMPLE.match(text)
    if not found or not text:
        return None
    tag = None if found[1] in (None, "", "*") else found[1]
    marks = re.findall(r"[.#][\w\\-]+", found[2])
    ids = [m[1:] for m in marks if m[0] == "#"]
    if len(set(ids)) > 1:
        return None
    return _Compound(tag, ids[0] if ids else None, frozenset(m[1:] for m in marks if m[0] == "."))


def _selector(text: str) -> _Selector | None:
    """Return the selector, or None where it uses more than this reader knows."""
    words = re.sub(r"\s*>\s*", " > ", text.strip()).split()
    parts: list[_Compound] = []
    direct: list[bool] = []
    child = False
    for word in reversed(words):
        if word == ">":
            child = True
            continue
        part = _compound(word)
        if part is None:
            return None
        if parts:
            direct.append(child)
        child = False
        parts.append(part)
    if not parts or child:
        return None
    weight = (
        sum(p.id is not None for p in parts),
        sum(len(p.classes) for p in parts),
        sum(p.tag is not None for p in parts),
    )
    return _Selector(tuple(parts), tuple(direct), weight)


@functools.lru_cache(maxsize=4096)
def declarations(text: str) -> tuple[tuple[str, str, bool], ...]:
    """Return (name, value, important) of a declaration list; what cannot be parsed is left out, as CSS says."""
    return tuple(
        (item.lower_name, tinycss2.serialize(item.value).strip(), bool(item.important))
        for item in tinycss2.parse_declaration_list(text, skip_comments=True, skip_whitespace=True)
        if item.type == "declaration"
    )


@dataclass
class Sheet:
    """All style sheets of a drawing, indexed by what the rightmost part of each selector asks for.

    Attributes:
        say: called with (text, line) for what is not understood.
    """

    say: Callable[[str, int], None]
    _by_id: dict[str, list[_Rule]] = field(default_factory=dict)
    _by_class: dict[str, list[_Rule]] = field(default_factory=dict)
    _by_tag: dict[str, list[_Rule]] = field(default_factory=dict)
    _count: int = 0

    def add(self, text: str, line: int) -> None:
        """Add the rules of one style sheet."""
        for rule in tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True):
            if rule.type == "at-rule":
                if rule.lower_at_keyword == "media" and rule.content is not None:
                    media = tinycss2.serialize(rule.prelude).strip().lower()
                    if media in ("all", "screen", "print", ""):
                        self.add(tinycss2.serialize(rule.content), line)
                        continue
                if rule.lower_at_keyword not in ("font-face", "charset", "namespace", "keyframes"):
                    self.say(f"the style rule @{rule.at_keyword} is not applied", line)
                continue
            if rule.type != "qualified-rule":
                self.say("a style rule that cannot be parsed is left out", line)
                continue
            self._rule(tinycss2.serialize(rule.prelude), declarations(tinycss2.serialize(rule.content)), line)

    def _rule(self, prelude: str, found: tuple[tuple[str, str, bool], ...], line: int) -> None:
        wanted = [d for d in found if d[0] in KNOWN]
        for text in prelude.split(","):
            selector = _selector(text)
            if selector is None:
                if wanted:
                    self.say(f"the style selector {text.strip()!r} is not understood; its rule is not applied", line)
                continue
            first = selector.parts[0]
            if first.id is not None:
                place = self._by_id.setdefault(first.id, [])
            elif first.classes:
                place = self._by_class.setdefault(min(first.classes), [])
            else:
                place = self._by_tag.setdefault(first.tag or "*", [])
            for name, value, important in wanted:
                self._count += 1
                place.append(_Rule(selector, self._count, name, value, important))

    def declared(self, node: Node) -> dict[str, str]:
        """Return the winning declared value of each known property of `node`, before inheritance."""
        values = {k: v.strip() for k, v in node.attrs.items() if k in KNOWN}
        ranked: list[tuple[tuple[bool, bool, tuple[int, int, int], int], str, str]] = []
        if self._count:
            rules = [*self._by_tag.get("*", ()), *self._by_tag.get(node.tag, ())]
            for name in set(node.attrs.get("class", "").split()):
                rules += self._by_class.get(name, ())
            rules += self._by_id.get(node.attrs.get("id", ""), ())
            ranked = [
                ((r.important, False, r.selector.weight, r.order), r.name, r.value)
                for r in rules
                if r.selector.matches(node)
            ]
        style = node.attrs.get("style")
        if style:
            for k, (name, value, important) in enumerate(declarations(style)):
                if name in KNOWN:
                    ranked.append(((important, True, (0, 0, 0), k), name, value))
        values |= {name: value for _, name, value in sorted(ranked, key=lambda r: r[0])}
        if "marker" in values:
            for where in ("start", "mid", "end"):
                values.setdefault(f"marker-{where}", values["marker"])
        return values


def cascade(declared: dict[str, str], parent: dict[str, str]) -> dict[str, str]:
    """Return the computed style: declared, else inherited from `parent`, else the first value."""
    style = {name: parent.get(name, first) for name, first in INHERITED.items()}
    style.update(OWN)
    for name, value in declared.items():
        low = value.lower()
        if low == "inherit" or (low == "unset" and name in INHERITED):
            value = parent.get(name, INHERITED.get(name, OWN.get(name, "")))
        elif low in ("initial", "unset", "revert"):
            value = INHERITED.get(name, OWN.get(name, ""))
        elif name == "color" and low == "currentcolor":
            value = parent.get("color", "black")
        style[name] = value
    return style


@dataclass(frozen=True)
class Paint:
    """What a fill or stroke is painted with.

    Attributes:
        rgb: 0 to 1 each, or None for a gradient or pattern.
        alpha: 0 to 1.
        reference: id of a gradient or pattern, or None.
    """

    rgb: tuple[float, float, float] | None
    alpha: float = 1.0
    reference: str | None = None

    @property
    def white(self) -> bool:
        """Opaque and as white as paper: every channel at least 98 %."""
        return self.rgb is not None and min(self.rgb) >= 0.98 and self.alpha >= 0.99


_REFERENCE: Final = re.compile(r"""url\(\s*["']?\s*([^"')]*?)\s*["']?\s*\)\s*(.*)$""", re.IGNORECASE | re.DOTALL)


def reference(text: str) -> tuple[str | None, str]:
    """Return (id, the rest) of a url(#id) value; (None, text) for anything else, ("", rest) for a link outside."""
    found = _REFERENCE.match(text.strip())
    if not found:
        return None, text
    return (found[1][1:] if found[1].startswith("#") else ""), found[2].strip()


@functools.lru_cache(maxsize=4096)
def paint(text: str, color: str) -> Paint | None:
    """Return the paint of a fill or stroke value, None for "none".

    Args:
        text: the value; a url is returned as `Paint.reference`.
        color: what currentColor means.

    Raises:
        ValueError: not a colour.
    """
    word = text.strip().lower()
    if word in ("none", "transparent"):
        return None
    if word in ("context-fill", "context-stroke"):
        return Paint((0.0, 0.0, 0.0))
    if word == "currentcolor":
        word = color.strip().lower()
        if word == "currentcolor":
            word = "black"
    # An ICC colour may follow the sRGB one: SVG 1.1 section 11.2.
    word = re.sub(r"\s+icc-color\(.*$", "", word)
    value = tinycss2.color4.parse_color(word)
    if value is None or isinstance(value, str):
        raise ValueError(text)
    try:
        r, g, b, alpha = value.to("srgb")
    except NotImplementedError:
        raise ValueError(text) from None
    rgb = (float(r or 0), float(g or 0), float(b or 0))
    return None if alpha == 0 else Paint(rgb, float(alpha))


def opacity(text: str) -> float:
    """Return an opacity, 0 to 1; a number or a percentage. ValueError for anything else."""
    word = text.strip()
    value = float(word[:-1]) / 100.0 if word.endswith("%") else float(word)
    return min(max(value, 0.0), 1.0) if value == value else 1.0
