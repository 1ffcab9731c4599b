"""`setup_sheet`: the page that goes to the machine. One HTML file, nothing fetched, one or two printed pages."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

from pathgen.model.cut import Cut, Stop
from pathgen.model.findings import Finding
from pathgen.model.motion import RAPID, Motion
from pathgen.model.tool import Cutting, DiamondPoint, Tool
from pathgen.motion.read import read_program
from pathgen.motion.time import clock
from pathgen.program.link import number_tools
from pathgen.program.words import clean
from pathgen.sheet.part import marked, part_picture
from pathgen.sheet.picture import paths_svg
from pathgen.sheet.plan import escaped as e
from pathgen.sheet.plan import tool_colors
from pathgen.sheet.words import cautions, holding_words, size_words, zero_sentences
from pathgen.shop.materials import material

if TYPE_CHECKING:
    from pathgen.job import Job
    from pathgen.model.program import Program
    from pathgen.motion.time import Time
    from pathgen.proof.report import Proof

ORDER = ("error", "warning", "note")
"""Findings stand in this order on the sheet."""

MOST = 40
"""Findings listed, at most; the rest is counted. A longer list is not read at the machine."""

READ_UP_TO = 8_000_000
"""Characters of program text up to which it is read back for the sheet (rapids in the plan, time of each single cut);
beyond it that takes longer than the rest of the sheet."""

_CUT = re.compile(r"CUT ([0-9]+) ")
_PASS = re.compile(r"PASS ([0-9]+)\.([0-9]+)")

PICTURE_WIDTH = 1100
"""Pixels of the part's picture: 95 mm on paper at 290 dots per inch."""


SIGNATURES = ("thickness measured", "first piece checked", "operator", "date")
"""Lines to fill in by hand at the machine."""


def setup_sheet(job: Job, *, proof: Proof | None = None, accepted: Sequence[str] = (), suffix: str = ".rs274") -> str:
    """Return the setup sheet of a job as one self-contained HTML page.

    It says, in this order: name, finished size, whether the programs are proved; zero, stock and holding; tools;
    cuts and stops; files and what to do before each; findings, what was accepted and what was not checked;
    cautions; with a picture of the simulated part and of the paths.

    Args:
        job: proved here if it was not yet.
        proof: the one to print; None = the job's own.
        accepted: findings that were accepted, in words, as they stand in the programs' headers.
        suffix: of the program files.

    Returns:
        HTML text. Everything from outside (names, messages, findings) is escaped.
    """
    proof, time = proof or job.prove(), job.time()
    programs = job.programs(unproved=True)
    short = sum(len(p.text) for p in programs) <= READ_UP_TO
    motions = [read_program(p.text) for p in programs] if short else []
    spent = _cut_times(_tool_cuts(job), time, motions)
    findings = _sorted(proof.findings)
    name = e(job.name)
    style = files("pathgen.sheet").joinpath("page.css").read_text(encoding="utf-8")
    body = [
        _head(job, proof, time, findings, accepted),
        _zero(job),
        _section("Tools, in order", _tools(job, spent)),
        _section("Cuts, in order", _cuts(job, spent, motions)),
        _section("Programs", _programs(programs, suffix)),
        _section("Proof", _measured(proof, programs)) if proof.compared else "",
        _section("Plan", _plan(job, motions, findings)),
        _findings(findings, accepted, proof.unchecked, (*job.stock.zero_xy, job.stock.zero_z), programs),
        _section("Cautions", _list(cautions(job), "cautions")),
        f'<div class="sign">{"".join(f"<span>{words}</span>" for words in SIGNATURES)}</div>',
    ]
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{name}: setup sheet</title>\n<style>\n{style}</style>\n</head>\n<body>\n"
        + "\n".join(body)
        + "\n</body>\n</html>\n"
    )


# -- small pieces -------------------------------------------------------------------------------------------------


def _section(title: str, content: str, *, long: bool = False) -> str:
    """Build a section; a long one may be broken over pages."""
    return f'<section class="{"long" if long else "short"}">\n<h2>{e(title)}</h2>\n{content}\n</section>'


def _list(items: Iterable[str], kind: str = "") -> str:
    marked = f' class="{kind}"' if kind else ""
    return f"<ul{marked}>{''.join(f'<li>{e(i)}</li>' for i in items)}</ul>"


def _table(caption: str, heads: Sequence[tuple[str, str]], rows: Iterable[str]) -> str:
    """Build a table; each head is (words, class of its column: "n" for numbers, "grow" for the widest)."""
    cells = "".join(f'<th scope="col" class="{kind}">{e(words)}</th>' for words, kind in heads)
    return (
        f'<div class="wide"><table><caption>{e(caption)}</caption><thead><tr>{cells}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _mm(value: float | None, at_least: float | None = None) -> str:
    """Return a length, or what it must be at least where it was not stated."""
    if value is not None:
        return f"{value:g}"
    need = f" (≥ {at_least:.1f})" if at_least is not None else ""
    return f'<span class="missing">not stated{need}</span>'


def _sorted(findings: Iterable[Finding]) -> list[Finding]:
    return sorted(findings, key=lambda f: ORDER.index(f.severity))


def _tool_cuts(job: Job) -> list[Cut]:
    return [c for c in job.cuts if isinstance(c, Cut)]


# -- head ---------------------------------------------------------------------------------------------------------


def _head(job: Job, proof: Proof, time: Time, findings: Sequence[Finding], accepted: Sequence[str]) -> str:
    mm, inches = size_words(*_size(job))
    kind, words = _state(proof, findings, accepted)
    measured = f"Worst gouge {proof.gouge:.3f} mm, worst residual {proof.residual:.3f} mm. " if proof.compared else ""
    picture = _part(job, proof)
    return (
        f'<header>\n<div><p class="kind">Setup sheet</p><h1>{e(job.name)}</h1>\n'
        f'<p class="size"><span class="kind">Finished size</span> {mm}<small>{inches}</small></p>\n'
        f'<p class="state {kind}">{e(words)}</p>\n'
        f'<p class="facts">{measured}Machine time {clock(time.total)}.</p></div>\n{picture}\n</header>'
    )


def _size(job: Any) -> tuple[float, float]:
    """Return the finished piece's size; what was asked where the job does not work it out."""
    finished = getattr(job, "finished_size", None) or job.size or (job.stock.width, job.stock.height)
    return float(finished[0]), float(finished[1])


def _state(proof: Proof, findings: Sequence[Finding], accepted: Sequence[str]) -> tuple[str, str]:
    """Say in a few words whether the programs may run: (look, words)."""
    count = {s: sum(f.severity == s for f in findings) for s in ORDER}
    warnings = f"{count['warning']} warning{'s' * (count['warning'] != 1)}"
    refused = [f for f in findings if f.severity == "error" and not any(f.code in words for words in accepted)]
    if refused or (proof.ok is False and not accepted):
        return "bad", f"NOT PROVED: {len(refused)} error{'s' * (len(refused) != 1)}. Do not run."
    if accepted:
        return "warn", f"Proved, but for what was accepted below; {warnings}"
    if proof.ok is None:
        return "warn", f"Not fully checked; {warnings}"
    return ("warn", f"Proved, with {warnings}") if count["warning"] else ("good", "Proved, no warnings")


def _part(job: Job, proof: Proof) -> str:
    """Draw the simulated part; work cut from the back is shown from the front, as it will be read."""
    if proof.height is None:
        return "<figure><figcaption>There is no simulated part to show.</figcaption></figure>"
    png = part_picture(job, proof, width=PICTURE_WIDTH, margin=0.04)
    seen = "read from the front" if job.face == "back" else "seen from above"
    words = f"The part as simulated from the written programs, {seen}."
    if marked(proof.findings):
        words += " Marks have the numbers of the findings."
    data = base64.b64encode(png).decode("ascii")
    return (
        f'<figure><img alt="{e(words)}" src="data:image/png;base64,{data}"><figcaption>{e(words)}</figcaption></figure>'
    )


# -- stock, tools, cuts, programs ---------------------------------------------------------------------------------


def _zero(job: Job) -> str:
    stock = job.stock
    zero, setting = zero_sentences(job)
    mm, inches = size_words(stock.width, stock.height)
    span = (
        "range not stated: measure it"
        if stock.thickness_range is None
        else "{:g} to {:g}".format(*stock.thickness_range)
    )
    facts = [
        ("Stock", f"{stock.material}, {mm} ({inches})"),
        ("Thickness", f"{stock.thickness:g} mm, {span}"),
        ("Face up", "back face, artwork mirrored" if job.face == "back" else "top face"),
        ("Clearance", f"rapids {job.clearance:g} mm over the stock"),
        ("Held by", holding_words(job)),
    ]
    if material(stock.material).family == "wood":
        facts.insert(2, ("Grain", "not stated" if stock.grain is None else f"{stock.grain:g}° from X"))
    if stock.film:
        facts.insert(
            2, ("Film", f"{stock.film:g} mm, Z set on {'the film' if stock.zero_on_film else 'the bare face'}")
        )
    if stock.heights is not None:
        span = f"{-stock.dip:.2f} to {stock.rise:.2f} mm"
        facts.insert(2, ("Top", f"measured at {len(stock.heights)} points, {span}: this program fits this board only"))
    listed = "".join(f"<dt>{e(k)}</dt><dd>{e(v)}</dd>" for k, v in facts)
    return f'<p class="zero"><b>{e(zero)}</b> {e(setting)}</p>\n<dl>{listed}</dl>'


def _tools(job: Job, spent: Mapping[Cut, float]) -> str:
    cuts = _tool_cuts(job)
    numbers, colors = number_tools(cuts), tool_colors(cuts)
    deepest: dict[Tool, float] = {}
    for c in cuts:
        deepest[c.tool] = max(deepest.get(c.tool, 0.0), c.depth)
    used: dict[tuple[Tool, Cutting], None] = dict.fromkeys((c.tool, c.cutting) for c in cuts)
    rows = []
    for tool, cutting in used:
        need = deepest[tool]
        known = [spent[c] for c in cuts if c.tool == tool and c.cutting == cutting and c in spent]
        cells = [
            f'<th scope="row">T{numbers[tool]}<span class="swatch" style="background:{colors[tool]}"></span></th>',
            f"<td>{e(tool.describe())}</td>",
            _cell(f"{cutting.rpm:.0f}" if tool.spins else '<b class="missing">must not spin</b>'),
            _cell(f"{cutting.feed:g}"), _cell(f"{cutting.plunge:g}"),
            _cell(_mm(tool.stick_out, need)), _cell(_mm(tool.cutting_length, need) if tool.spins else "–"),
            _cell(clock(sum(known)) if known else ""),
        ]  # fmt: skip
        rows.append(f"<tr>{''.join(cells)}</tr>")
    heads = [("No.", ""), ("Tool", "grow"), ("rpm", "n"), ("Feed, mm/min", "n"), ("Plunge, mm/min", "n"),
             ("Stick-out, mm", "n"), ("Cutting length, mm", "n"), ("Time", "n")]  # fmt: skip
    return _table("Each tool's paths in the plan have the color shown beside its number.", heads, rows)


def _cut_times(cuts: Sequence[Cut], time: Time, motions: Sequence[Motion]) -> dict[Cut, float]:
    """Return the seconds of each cut, moves and dwells, as its comment in the programs marks it.

    Without the programs' motions the times go by name, and cuts that share one are left out.
    """
    if sum(len(m.moves) for m in motions) != len(time.moves) or not motions:
        keys = [clean(f"CUT {k} {clean(c.name)}").split(" ", 2)[-1] for k, c in enumerate(cuts, 1)]
        single = [(c, k) for c, k in zip(cuts, keys, strict=True) if keys.count(k) == 1]
        return {c: time.by_cut[k] for c, k in single if k in time.by_cut}
    found: dict[int, float] = {}
    offset = 0
    for motion in motions:
        before = np.concatenate([[0.0], np.cumsum(time.moves[offset : offset + len(motion.moves)])])
        offset += len(motion.moves)
        number, since = 0, 0
        for event in motion.events:
            mark = _CUT.match(event.text) if event.kind == "comment" else None
            if mark or event.kind == "end":
                found[number] = found.get(number, 0.0) + float(before[event.index] - before[since])
                since = event.index
                number = int(mark[1]) if mark else 0
            elif event.kind == "dwell":
                found[number] = found.get(number, 0.0) + event.value
    return {c: found[k] for k, c in enumerate(cuts, 1) if k in found}


def _cell(content: str) -> str:
    return f'<td class="n">{content}</td>'


def _cuts(job: Job, spent: Mapping[Cut, float], motions: Sequence[Motion]) -> str:
    cuts = _tool_cuts(job)
    numbers, last = number_tools(cuts), _last_passes(motions)
    rows, k = [], 0
    for item in job.cuts:
        if isinstance(item, Stop):
            rows.append(f'<tr class="stop"><td colspan="7">Stop: {e(item.message)}</td></tr>')
            continue
        k += 1
        cells = [
            f'<th scope="row">{k}</th>', f"<td>{e(item.name)}</td>", f"<td>T{numbers[item.tool]}</td>",
            _cell(_depth(item, job)), _cell(str(len(item.passes))), _cell(_pass_names(k, last.get(k, 0))),
            _cell(clock(spent[item]) if item in spent else ""),
        ]  # fmt: skip
        rows.append(f"<tr>{''.join(cells)}</tr>")
    heads = [("No.", ""), ("Cut", "grow"), ("Tool", ""), ("Depth, mm", "n"), ("Passes", "n"), ("Marked PASS", "n"),
             ("Time", "n")]  # fmt: skip
    words = "Passes count every stretch with the tool in the work, entries included."
    if last:
        words += (
            " The programs mark each stretch between two lifts, PASS and its number: after a stop, note the last one "
            "that was finished, and make the rest with restart()."
        )
    return _table(words, heads, rows)


def _last_passes(motions: Sequence[Motion]) -> dict[int, int]:
    """Return the highest number of a pass in each cut, as the programs mark them."""
    last: dict[int, int] = {}
    for motion in motions:
        for event in motion.events:
            mark = _PASS.match(event.text) if event.kind == "comment" else None
            if mark:
                last[int(mark[1])] = max(last.get(int(mark[1]), 0), int(mark[2]))
    return last


def _pass_names(cut: int, last: int) -> str:
    return "" if last == 0 else f"{cut}.1" if last == 1 else f"{cut}.1 to {cut}.{last}"


def _measured(proof: Proof, programs: Sequence[Program]) -> str:
    """Build the table of what each cut did, held against what was asked, and of the whole part."""
    several = len(programs) > 1
    rows = [
        _result(str(k), c.name, _lines(c.lines, several), c.gouge, c.gouge_area, c.residual, c.residual_area)
        for k, c in enumerate(proof.cuts, 1)
    ]
    whole = (proof.gouge, proof.gouge_area, proof.residual, proof.residual_area)
    rows.append(_result("", "the whole part", "", *whole))
    where = "Program, lines" if several else "Lines"
    heads = [("No.", ""), ("Cut", "grow"), (where, ""), ("Too deep, mm", "n"), ("over, mm²", "n"),
             ("Left standing, mm", "n"), ("over, mm²", "n")]  # fmt: skip
    words = "Worst places, normal to the asked surface; areas where it is more than is owed."
    if proof.asked is not None:
        words += f" Removed {proof.removed / 1000:.2f} cm³, asked {proof.asked / 1000:.2f} cm³."
    return _table(words, heads, rows)


def _result(number: str, name: str, lines: str, *amounts: float) -> str:
    """Build one row: name, lines, then (mm, mm2) too deep and left standing."""
    numbers = "".join(_cell(f"{v:.3f}" if k % 2 == 0 else f"{v:.1f}") for k, v in enumerate(amounts))
    return f'<tr><th scope="row">{e(number)}</th><td>{e(name)}</td><td>{e(lines)}</td>{numbers}</tr>'


def _lines(spans: Iterable[tuple[str, int, int]], several: bool) -> str:
    """Return where a cut stands in the programs: "12 to 90", with the program's number where there are several."""
    return "; ".join(f"{program}, {a} to {b}" if several else f"{a} to {b}" for program, a, b in spans)


def _depth(cut: Cut, job: Job) -> str:
    if isinstance(cut.tool, DiamondPoint):  # how far its spring is pressed in; how deep it scratches is not known
        return f"{cut.depth:.2f} pressed in"
    if not cut.through:
        return f"{cut.depth:.2f}"
    under = cut.depth - job.stock.thickness
    return f"{cut.depth:.2f}, through" + (f" and {under:.2f} below" if under > 0.005 else "")


def _programs(programs: Sequence[Program], suffix: str) -> str:
    rows, done = [], 0
    for k, p in enumerate(programs, 1):
        tools = ", ".join(f"T{n}" for n in p.tools)
        first, done = done + 1, done + len(p.cuts)
        numbers = str(first) if done <= first else f"{first} to {done}"
        rows.append(
            f'<tr><th scope="row">{k}</th><td class="tick">{e(p.name + suffix)}</td><td>{e(tools)}</td>'
            f"<td>{numbers}</td><td>{e(p.message) or 'nothing more'}</td></tr>"
        )
    heads = [("No.", ""), ("File", ""), ("Tools", ""), ("Cuts, No.", ""), ("Before it is started", "most")]
    return _table("Run the files in this order and tick each one off.", heads, rows)


# -- plan and findings --------------------------------------------------------------------------------------------


def _plan(job: Job, motions: Sequence[Motion], findings: Sequence[Finding]) -> str:
    rapids = np.concatenate([_rapids(m, job.stock.zero_xy) for m in motions]) if motions else None
    svg = paths_svg(
        _tool_cuts(job), job.stock, rapids=rapids, keep_out=job.keep_out, touch_off=job.touch_off,
        findings=findings[:MOST], title=f"Plan of {job.name}: stock, zero and the paths of every tool, from above",
    )  # fmt: skip
    words = "Full lines: cuts. Thin: entries and links. Dashed: rapids. Quartered disc: work zero."
    if any(f.where is not None for f in findings[:MOST]):
        words += " Numbers: places of findings; their X Y Z count from the work zero."
    return f'<figure class="plan">{svg}<figcaption>{words}</figcaption></figure>'


def _rapids(motion: Motion, zero: tuple[float, float]) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return the level rapids of a program, (n, 2, 2) in stock coordinates."""
    moves = motion.moves
    ends = np.stack([moves.start[:, :2], moves.end[:, :2]], axis=1) + np.asarray(zero)
    level = np.isfinite(ends).all(axis=(1, 2)) & (np.abs(ends[:, 0] - ends[:, 1]).max(axis=1) > 0.05)
    picked: np.ndarray[Any, np.dtype[np.float64]] = ends[(moves.kind == RAPID) & ~moves.machine & level]
    return picked


def _findings(
    findings: Sequence[Finding],
    accepted: Sequence[str],
    unchecked: Iterable[Any],
    zero: tuple[float, float, float],
    programs: Sequence[Program],
) -> str:
    titles = {"error": "Errors", "warning": "Warnings", "note": "Notes"}
    out = []
    for severity in ORDER:
        listed = [(k, f) for k, f in enumerate(findings, 1) if f.severity == severity and k <= MOST]
        if listed:
            items = "".join(_finding(k, f, zero, programs) for k, f in listed)
            out.append(_section(titles[severity], f'<ul class="findings">{items}</ul>', long=len(listed) > 8))
    if len(findings) > MOST:
        out.append(f"<p>And {len(findings) - MOST} more, listed by the proof.</p>")
    if accepted:
        out.append(_section("Accepted", _list(accepted)))
    open_points = [str(u) for u in unchecked]
    if open_points:
        out.append(_section("Not checked", _list(open_points)))
    return "\n".join(out)


def _finding(k: int, f: Finding, zero: tuple[float, float, float], programs: Sequence[Program]) -> str:
    """Build one finding; its place is told as the machine shows it, from the work zero."""
    place = [f.cut or "", f"{_program(f, programs)}line {f.line}" if f.line is not None else ""]
    if f.where is not None:
        place.append("X {:.1f} Y {:.1f} Z {:.2f}".format(*(a - b for a, b in zip(f.where, zero, strict=True))))
    at = ", ".join(p for p in place if p)
    tail = f' <span class="at">({e(at)})</span>' if at else ""
    advice = f" <i>{e(f.advice)}</i>" if f.advice else ""
    return f'<li class="{f.severity}"><b class="no">{k}</b><b>{e(f.code)}</b>: {e(f.text)}{advice}{tail}</li>'


def _program(f: Finding, programs: Sequence[Program]) -> str:
    """Return the name of the program a finding is about, and a space; the proof numbers programs from 1."""
    number = int(f.program) if f.program is not None and f.program.isdecimal() else 0
    name = programs[number - 1].name if 1 <= number <= len(programs) else f.program
    return f"{name} " if name else ""
