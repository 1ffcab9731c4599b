"""Make the pictures of README and docs from the examples: ``python docs/make_pictures.py [example …]``."""

from __future__ import annotations

import dataclasses
import io
import runpy
import sys
import tempfile
from pathlib import Path

import resvg_py
from PIL import Image, ImageOps

import pathgen as pg
from pathgen.sheet.part import part_picture

ROOT = Path(__file__).parent.parent
OUT = Path(__file__).parent / "pictures"
WIDTH = 1000


SECTIONS = {"leaf_inlay": "leaf_section", "tapered_lettering": "ivy_section"}
"""Examples whose halves are shown put together."""


def jobs_of(example: str) -> list[pg.Job]:
    """Run an example into a folder that is thrown away; draw its section; return its jobs."""
    with tempfile.TemporaryDirectory() as folder:
        sys.argv = [example, folder]
        names = runpy.run_path(str(ROOT / "examples" / f"{example}.py"))
    if example in SECTIONS:
        picture = resvg_py.svg_to_bytes(svg_string=pg.section_svg(names["fit"]))
        (OUT / f"{SECTIONS[example]}.png").write_bytes(bytes(picture))
    return names.get("jobs") or [names["job"]]


def picture_of(job: pg.Job) -> Image.Image:
    """Return the part without marks; out of its frame where it is cut free."""
    free = any(cut.through for cut in job.tool_cuts)
    proof = dataclasses.replace(job.prove(), findings=())
    return Image.open(io.BytesIO(part_picture(job, proof, finished=free, margin=0.1))).convert("RGB")


def sheet(pictures: list[Image.Image], columns: int) -> Image.Image:
    """Lay pictures side by side, all as wide as the first, each below the shortest column."""
    wide, high = pictures[0].width, [0] * columns
    places = []
    pictures = [p if p.width == wide else ImageOps.pad(p, pictures[0].size, color="#ffffff") for p in pictures]
    for picture in pictures:
        column = high.index(min(high))
        places.append((wide * column, high[column]))
        high[column] += picture.height
    page = Image.new("RGB", (wide * columns, max(high)), pictures[0].getpixel((2, 2)))
    for picture, place in zip(pictures, places, strict=True):
        page.paste(picture, place)
    return page


def main() -> None:
    """Write one PNG for each example."""
    OUT.mkdir(exist_ok=True)
    wanted = sys.argv[1:]
    for path in sorted((ROOT / "examples").glob("*.py")):
        if wanted and path.stem not in wanted:
            continue
        jobs = jobs_of(path.stem)
        pictures = [picture_of(job) for job in jobs]
        page = pictures[0] if len(pictures) == 1 else sheet(pictures, 2)
        page = page.resize((WIDTH, round(page.height * WIDTH / page.width)), Image.Resampling.LANCZOS)
        page.quantize(192, dither=Image.Dither.FLOYDSTEINBERG).save(OUT / f"{path.stem}.png", optimize=True)
        print(path.stem, page.size)


if __name__ == "__main__":
    main()
