"""pathgen: vector artwork into proven RS-274 programs for signs and inlays. Docs write ``import pathgen as pg``.

Names are resolved when first used (PEP 562), so that ``import pathgen`` stays quick.
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "inch": "units",
    "PathgenError": "errors",
    "DrawingError": "errors",
    "MissingFileError": "errors",
    "ShopFileError": "errors",
    "ArgumentError": "errors",
    "NotProvedError": "errors",
    "InternalError": "errors",
    "WriteError": "errors",
    "Path": "model.path",
    "Pass": "model.path",
    "Cut": "model.cut",
    "Stop": "model.cut",
    "Bounds": "model.bounds",
    "Finding": "model.findings",
    "HeightMap": "model.heightmap",
    "Lettering": "model.artwork",
    "Layer": "model.artwork",
    "Cutting": "model.tool",
    "Holder": "model.tool",
    "EndMill": "model.tool",
    "BallNose": "model.tool",
    "Drill": "model.tool",
    "VBit": "model.tool",
    "TrailingKnife": "model.tool",
    "DiamondPoint": "model.tool",
    "Stock": "model.stock",
    "THROUGH": "model.stock",
    "Machine": "model.machine",
    "Dialect": "model.machine",
    "KeepOut": "model.holding",
    "Screws": "model.holding",
    "Tape": "model.holding",
    "Vacuum": "model.holding",
    "Program": "model.program",
    "Artwork": "artwork.model",
    "Note": "artwork.model",
    "read": "artwork.read",
    "text": "artwork.lettering",
    "plate": "shape.place",
    "place": "shape.place",
    "mirror": "shape.place",
    "template": "shape.template",
    "vgroove": "cuts.vgroove",
    "pocket": "cuts.pocket",
    "profile": "cuts.profile",
    "Bridges": "cuts.profile",
    "knife": "cuts.knife",
    "face": "cuts.face",
    "raised": "cuts.raised",
    "inlay": "cuts.inlay",
    "Inlay": "cuts.inlay",
    "tapered_inlay": "cuts.tapered",
    "border": "shape.border",
    "chamfer": "cuts.chamfer",
    "screw_holes": "cuts.screws",
    "drill": "cuts.drill",
    "circles": "shape.circles",
    "scribe": "cuts.scribe",
    "force_at": "cuts.scribe",
    "travel_for": "cuts.scribe",
    "hatch": "shape.hatch",
    "tone": "artwork.tone",
    "stroke_text": "artwork.stroke_text",
    "trial_steps": "trial",
    "back_side": "shape.back",
    "Job": "job",
    "mate": "job",
    "trial": "trial",
    "trial_result": "trial_readings",
    "section_svg": "sheet.section",
    "Mating": "proof.mate",
    "check": "check",
    "part_picture": "sheet.part",
    "read_shop": "shop.shopfile",
    "read_heights": "shop.heights",
    "Shop": "shop.shopfile",
    "restart": "restart",
    "Restart": "restart",
    "Proof": "proof.report",
    "Time": "motion.time",
}

__all__ = [*_HOME, "__version__"]


def __getattr__(name: str) -> Any:
    try:
        home = _HOME[name]
    except KeyError:
        raise AttributeError(f"module 'pathgen' has no attribute {name!r}") from None
    value = getattr(importlib.import_module(f"pathgen.{home}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)


class _Package(ModuleType):
    """The package, in which a module never hides the public name that it holds (`check`, `restart`)."""

    def __setattr__(self, name: str, value: Any) -> None:
        if not (name in _HOME and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
