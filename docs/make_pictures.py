"""Make the pictures of README and docs from the examples' own programs: ``python docs/make_pictures.py``."""

from __future__ import annotations

import io
import runpy
import sys
import tempfile
from pathlib import Path

from PIL import Image

import pathgen as pg
from pathgen.sheet.part import part_picture

ROOT = Path(__file__).parent.parent
OUT = Path(__file__).parent / "pictures"
WIDTH = 1000


def jobs_of(example: str) -> list[pg.Job]:
    """Run an example into a folder that is thrown away; return its jobs."""
    with tempfile.TemporaryDirectory() as folder:
        sys.argv = [example, folder]
        names = runpy.run_path(str(ROOT / "examples" / f"{example}.py"))
    return names.get("jobs") or [names["job"]]


def sheet(pictures: list[Image.Image], columns: int) -> Image.Image:
    """Lay pictures of one size side by side."""
    wide, high = pictures[0].size
    rows = -(-len(pictures) // columns)
    page = Image.new("RGB", (wide * columns, high * rows), pictures[0].getpixel((2, 2)))
    for n, picture in enumerate(pictures):
        page.paste(picture, (wide * (n % columns), high * (n // columns)))
    return page


def main() -> None:
    """Write one PNG for each example."""
    OUT.mkdir(exist_ok=True)
    for path in sorted((ROOT / "examples").glob("*.py")):
        jobs = jobs_of(path.stem)
        pictures = [Image.open(io.BytesIO(part_picture(job, finished=True, margin=0.1))).convert("RGB") for job in jobs]
        page = pictures[0] if len(pictures) == 1 else sheet(pictures, 2)
        page = page.resize((WIDTH, round(page.height * WIDTH / page.width)), Image.Resampling.LANCZOS)
        page.quantize(192, dither=Image.Dither.FLOYDSTEINBERG).save(OUT / f"{path.stem}.png", optimize=True)
        print(path.stem, page.size)


if __name__ == "__main__":
    main()
