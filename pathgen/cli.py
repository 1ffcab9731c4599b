"""The command `pathgen`: a thin door to the library.

The words on the command line are taken apart by argparse of the standard library: a command with a dozen options needs
no more, and no package is added for it. Everything that is found out is found out by the library.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import re
import sys
import unicodedata
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TextIO

from pathgen.errors import ArgumentError, DrawingError, PathgenError

OK, FOUND, BAD = 0, 1, 2
"""Exit status: no error; an error was found in the programs; bad input, so that nothing was checked."""

INTERRUPTED = 130
"""Exit status after the interrupt key (POSIX: 128 and the signal's number)."""

ASSUMED = "mdf"
"""Material where none is stated: it has no grain, and stands in the middle between wood and plastic."""

_OPTION = re.compile(r"(?:^|(?<=: ))(material|zero|grid)=")
"""Arguments of the library that are options of the command."""

_DASHES = str.maketrans({"×": "x", "–": "-", "—": "-", "…": "...", "≥": ">=", "°": " deg", "☐": "[ ]"})


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command.

    Args:
        arguments: words after the command's name; None = those it was started with.

    Returns:
        Exit status: 0 no error, 1 an error was found in the programs, 2 bad input.
    """
    try:
        given = _parser().parse_args(arguments)
        run: Callable[[argparse.Namespace], int] = given.run
        status = run(given)
        sys.stdout.flush()
        return status
    except PathgenError as problem:
        words = _OPTION.sub(lambda m: f"--{m[1].replace('_', '-')} ", str(problem))
        _print(f"pathgen: {words}" if "\n" not in words else words, sys.stderr)
        return BAD
    except MemoryError:
        _print("pathgen: this does not fit into memory: give a coarser --grid", sys.stderr)
        return BAD
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # whoever read the output has gone; nothing more can be said, and Python must not try at its end
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return BAD


def _parser() -> argparse.ArgumentParser:
    top = argparse.ArgumentParser(
        prog="pathgen", allow_abbrev=False, description="Checks RS-274 programs before they meet the machine."
    )
    from pathgen import __version__

    top.add_argument("--version", action="version", version=f"pathgen {__version__}")
    commands = top.add_subparsers(title="commands", required=True, metavar="COMMAND")
    check = commands.add_parser(
        "check",
        allow_abbrev=False,
        help="cut programs in simulation and say what is wrong with them",
        description="Reads RS-274 programs by the rules of the standard, cuts them in simulation one after the other "
        "on one stock, and says what it finds.",
        epilog="Exit status: 0 no error, 1 an error was found, 2 bad input. Lengths are in mm; add in for inches: "
        "--stock 12x6x0.75in. The page docs/check.md says what stands in the TOML files.",
    )
    check.set_defaults(run=_check)
    say = check.add_argument
    say("programs", nargs="+", metavar="PROGRAM", help="file of an RS-274 program; several run in this order")
    say("--tools", required=True, metavar="FILE", help="TOML file of the tools; it may hold machine and stock too")
    say("--stock", metavar="SIZE", help="the slab: width x height x thickness, such as 300x150x18 or 12x6x0.75in")
    say("--material", metavar="NAME", help="what it is made of, such as hardwood or acrylic")
    say("--zero", metavar="PLACE", help="where the programs have X0 Y0: lower-left (the default), center, or X,Y")
    say("--zero-height", choices=("top", "table"), help="where they have Z0: top of the stock (the default) or table")
    say("--machine", metavar="FILE", help="TOML file of the machine, for limits and time")
    say("--grid", metavar="STEP", help="step of the simulated surface; chosen from the tools if not given")
    say("--picture", metavar="FILE", help="write a picture of the simulated part (PNG), findings marked by number")
    say("--json", metavar="FILE", help="write the report as JSON; - writes it to the output instead of the text")
    return top


def _check(given: argparse.Namespace) -> int:
    """Carry out `pathgen check`."""
    from pathgen.check import check
    from pathgen.motion.textfile import program_text
    from pathgen.sheet.report import report_json, report_lines
    from pathgen.shop.quantity import quantity
    from pathgen.shop.shopfile import read_shop

    _keep_given_files(given)
    shop = read_shop(given.tools)
    if not shop.tools:
        raise DrawingError("the file holds no tools: begin each with [[tool]]", file=given.tools)
    machine = shop.machine
    if given.machine is not None:
        machine = read_shop(given.machine).machine
        if machine is None:
            raise DrawingError("the file holds no machine: begin it with [machine]", file=given.machine)
    stock, assumed = _stock(given, shop.stock)
    grid = None if given.grid is None else _asked("--grid", given.grid, lambda: quantity(_typed(given.grid)))
    texts = [program_text(file) for file in given.programs]
    proof = check(texts, tools=shop.tools, stock=stock, machine=machine, grid=grid)
    if assumed:
        sentence = f"The material is not stated (--material), so it was taken as {ASSUMED}."
        proof = dataclasses.replace(proof, unchecked=(sentence, *proof.unchecked))
    files = [str(file) for file in given.programs]
    if given.json == "-":
        _print(report_json(proof, stock, files), sys.stdout)
    else:
        for line in report_lines(proof, stock, files):
            _print(line, sys.stdout)
    if given.json not in (None, "-"):
        _write(given.json, (report_json(proof, stock, files) + "\n").encode("utf-8"))
    if given.picture is not None:
        from pathgen.sheet.part import part_picture

        _write(given.picture, part_picture(stock, proof))
    return FOUND if proof.errors else OK


def _keep_given_files(given: argparse.Namespace) -> None:
    """Refuse to write over a file that is read, or two files into one: a mistyped word must not cost a program."""
    taken = [given.tools, *([given.machine] if given.machine is not None else []), *given.programs]
    for option, file in (("--json", given.json), ("--picture", given.picture)):
        if file is None or (option, file) == ("--json", "-"):
            continue
        if os.path.realpath(file) in map(os.path.realpath, taken):
            raise ArgumentError(f"{option} {file} would write over that file: name another one")
        taken.append(file)


def _stock(given: argparse.Namespace, kept: Any) -> tuple[Any, bool]:
    """Return the stock, and whether its material was assumed.

    A size on the command line sets the stock of the tools file aside, all of it.
    """
    from pathgen.model.stock import Stock
    from pathgen.shop.quantity import quantity

    changes: dict[str, Any] = {}
    if given.material is not None:
        changes["material"] = given.material
    if given.zero_height is not None:
        changes["zero_height"] = given.zero_height
    if given.zero is not None:
        changes["zero"] = given.zero
        if "," in given.zero:
            changes["zero"] = tuple(
                _asked("--zero", given.zero, lambda: [quantity(_typed(v)) for v in _parts(given.zero, ",")])
            )
    if given.stock is None:
        if kept is None:
            raise ArgumentError("--stock is missing: give width x height x thickness, such as --stock 300x150x18")
        return dataclasses.replace(kept, **changes), False
    sizes = _parts(given.stock, "x")
    if len(sizes) != 3:
        raise ArgumentError(
            f"--stock {given.stock}: give width x height x thickness, such as 300x150x18 or 12x6x0.75in"
        )
    numbers = _asked("--stock", given.stock, lambda: [quantity(_typed(v)) for v in sizes])
    assumed = given.material is None
    changes.setdefault("material", ASSUMED)
    return _asked("--stock", given.stock, lambda: Stock(*numbers, **changes)), assumed


def _parts(text: str, mark: str) -> list[str]:
    """Take sizes apart; a unit at the very end stands for all that have none of their own."""
    parts = [p.strip() for p in re.split("[x×]" if mark == "x" else mark, text.strip().casefold())]
    last = re.fullmatch(r"(.*?)\s*([a-z]+)", parts[-1])
    if last is None:
        return parts
    return [p if re.search(r"[a-z]$", p) else f"{p} {last[2]}" for p in parts]


def _typed(text: str) -> float | str:
    """Return a number where the text is one; a text with a unit otherwise."""
    try:
        return float(text)
    except ValueError:
        return text


def _asked(option: str, value: str, make: Callable[[], Any]) -> Any:
    """Return what `make` makes; what it refuses is told with the option that asked for it, unless it names one."""
    try:
        return make()
    except ArgumentError as problem:
        if _OPTION.match(str(problem)):
            raise
        raise ArgumentError(f"{option} {value}: {problem}") from None


def _write(file: str, data: bytes) -> None:
    from pathgen.errors import WriteError

    try:
        Path(file).write_bytes(data)
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise WriteError(f"{file} cannot be written ({why}): name a file in a folder that is there") from None


def _print(text: str, stream: TextIO) -> None:
    """Print outside text so that it can neither steer the terminal nor fail for want of a letter."""
    shown = "".join(c if c == "\n" or c.isprintable() else ascii(c)[1:-1] for c in text)
    try:
        shown.encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        bare = unicodedata.normalize("NFKD", shown.translate(_DASHES))
        kept = "".join(c for c in bare if not unicodedata.combining(c))
        shown = kept.encode("ascii", "backslashreplace").decode("ascii")
    print(shown, file=stream)
