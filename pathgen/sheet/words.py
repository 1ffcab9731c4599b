"""What the sheet says in words: zero, holding, and the cautions that fit the material and the tools."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from pathgen.model.cut import Cut
from pathgen.model.stock import Stock
from pathgen.model.tool import DiamondPoint, TrailingKnife
from pathgen.shop.materials import material
from pathgen.units import MM_PER_INCH


def size_words(width: float, height: float) -> tuple[str, str]:
    """Return a size in mm and in inches.

    >>> size_words(280, 120)
    ('280.00 × 120.00 mm', '11.024 × 4.724 in')
    """
    return (
        f"{width:.2f} × {height:.2f} mm",
        f"{width / MM_PER_INCH:.3f} × {height / MM_PER_INCH:.3f} in",
    )


def corner_words(stock: Stock) -> str:
    """Return where programs have X0 Y0."""
    if stock.zero == "lower-left":
        return "at the lower left corner of the stock"
    if stock.zero == "center":
        return "at the center of the stock"
    x, y = stock.zero_xy
    return f"{x:g} mm right of and {y:g} mm up from the lower left corner of the stock"


def height_words(stock: Stock, *, back: bool, faced: float) -> str:
    """Return where programs have Z0."""
    if stock.zero_height == "table":
        return "on the table under the stock"
    face = "back face, which lies up" if back else "top face"
    if faced > 0:
        return f"where the {face} was before facing; the faced plane is {faced:g} mm lower"
    if stock.zero_on_film and stock.film:
        return f"on the film ({stock.film:g} mm) that covers the {face}"
    return f"on the {face}"


def zero_sentences(job: Any) -> tuple[str, str]:
    """Return the zero in one sentence, and where and when tools are set in another."""
    stock: Stock = job.stock
    cuts: Sequence[Cut] = [c for c in job.cuts if isinstance(c, Cut)]
    faced = max((c.face_depth for c in cuts), default=0.0)
    zero = f"Zero {corner_words(stock)}, {height_words(stock, back=job.face == 'back', faced=faced)}."
    again = len({c.tool for c in cuts}) > 1
    change = "again after each tool change" if again else "before the program starts"
    if job.touch_off is None or tuple(job.touch_off) == stock.zero_xy:
        spot = "there"
    else:
        x, y = (a - b for a, b in zip(job.touch_off, stock.zero_xy, strict=True))
        spot = f"at X {x:g}, Y {y:g}"
    if stock.zero_height == "table":
        return zero, f"Set Z on the bare table beside the stock, {change}."
    plane = f", after facing to Z {-faced:g} on the faced plane" if faced and again else ""
    return zero, f"Set Z {spot}, {change}{plane}."


def holding_words(job: Any) -> str:
    """Return what holds the stock, as far as it was stated."""
    parts = [f"{type(h).__name__.lower()} (stated)" for h in job.hold]
    keep = [f"{k.height:g} mm" for k in job.keep_out]
    held = ", ".join(parts) or "not stated: see that nothing can lift or slide"
    return held + (f". Clamps and other keep-outs: {len(keep)}, up to {max(job.keep_out, key=_height).height:g} mm high"
                   if keep else ". Clamps: none stated")  # fmt: skip


def _height(keep: Any) -> float:
    return float(keep.height)


_BY_FAMILY: Final = {
    "wood": (
        "Wood dust harms the lungs and can burn: extract it, and wear a mask that fits.",
        "Look for knots, checks and metal in the board before it is clamped.",
    ),
    "board": ("Dust of glued boards harms the lungs: extract it, and wear a mask that fits.",),
    "foam": ("Foam dust floats and clings: extract it, wear a mask, and keep flames and hot wires away.",),
    "plastic": (
        "Plastic melts and throws hot chips: keep the chips large, clear the slot, and ventilate.",
        "Leave the protective film on until the piece is finished.",
    ),
    "metal": (
        "Metal chips are sharp and hot: guard the eyes, brush them away, never blow or touch them.",
        "After wood, no metal into a shared dust bag: one hot chip sets it alight. Empty and clean it first.",
        "Hold metal by what survives heat: adhesive tape alone can let go.",
    ),
    "card": ("Cut on a backing sheet, and keep fingers off the blade's path.",),
    "mineral": ("Work glass and stone wet, and guard eyes and breath: the dust scars the lungs.",),
}

_ALWAYS: Final = (
    "Stay at the machine while it runs, with the stop within reach.",
    "Cut the first piece of a batch in scrap, and measure it.",
    "Your machine's manual, local codes and licensed practice come first; follow them where they differ from this.",
)


def cautions(job: Any) -> tuple[str, ...]:
    """Return the usual cautions of the trade that fit this job's material, tools and machine."""
    cuts: Sequence[Cut] = [c for c in job.cuts if isinstance(c, Cut)]
    out: list[str] = []
    dragging = [c.tool for c in cuts if not c.tool.spins]
    kinds = {"knife" for t in dragging if isinstance(t, TrailingKnife)}
    kinds |= {"diamond" for t in dragging if isinstance(t, DiamondPoint)}
    if dragging:
        names = " and ".join(sorted(kinds)) or "dragging tool"
        out.append(f"The {names} must never spin: unplug the spindle before it goes in and until it is out again.")
    if job.machine.spindle == "hand":
        out.append(
            "The spindle is switched by hand, and no program can stop it: switch off and unplug before any touch."
        )
    if len(dragging) < len(cuts):
        out.append("Never reach for a slug, a chip or a loose piece while the spindle turns.")
    if any(c.through for c in cuts):
        out.append("Pieces come free in this job: see that each is held until the spindle stands.")
    if job.face == "back":
        out.append("The work lies face down and is cut mirrored: check the marked front side before clamping.")
    out += _BY_FAMILY[material(job.stock.material).family]
    if job.stock.material == "glass":
        out.append("Never tempered glass: it bursts.")
    out += _ALWAYS
    return tuple(dict.fromkeys(out))
