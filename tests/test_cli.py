"""The command: what it prints, its exit status, and that no input makes it fall over."""

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

import pathgen as pg
from pathgen import cli
from pathgen.errors import PathgenError
from pathgen.model.findings import Finding
from pathgen.motion import textfile
from pathgen.motion.textfile import program_text
from pathgen.sheet.part import part_picture
from pathgen.sheet.report import report_json, report_lines
from pathgen.shop.shopfile import _FORMS

ROOT = Path(pg.__file__).parent.parent
TOOLS = ROOT / "shared" / "tools.toml"
SAMPLE = ROOT / "shared" / "reference" / "nistir6556_c1.rs274"
HEAD = "G21 G90 G17 G94 G40 G80 G54\nG61\n(Tool T2)\nG0 Z6\nS16000 M3\nG4 P3\n"
TAIL = "G0 Z6\nM5\nG4 P5\nM2\n"
GOOD = HEAD + "G0 X20 Y20\nG0 Z1\nG1 Z-2 F400\nG1 X40 F1800\n" + TAIL
BAD = GOOD.replace("G1 X40", "G0 X40")
SIZE = ("--stock", "60x40x18", "--material", "hardwood")


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name, text in (("good.nc", GOOD), ("bad.nc", BAD), ("tools.toml", TOOLS.read_text())):
        (tmp_path / name).write_text(text)
    return tmp_path


@pytest.fixture
def run(here, capsys, monkeypatch):
    monkeypatch.setattr("pathgen.sheet.part.part_picture", lambda *given: part_picture(*given, width=160))

    def call(*words, size=SIZE, tools="tools.toml"):
        try:
            status = cli.main(["check", *words, "--tools", tools, *size])
        except SystemExit as stop:  # argparse ends so
            status = stop.code
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    return call


# -- what is found


def test_a_clean_program_ends_with_status_0_and_says_time_size_and_what_was_not_checked(run):
    status, out, err = run("good.nc")
    assert (status, err) == (0, "")
    assert not re.search(r": error ", out)
    assert re.search(r"^0 errors, \d+ warnings?, \d+ notes?$", out, re.M)
    size = re.search(
        r"^Cut: ([\d.]+) x ([\d.]+) mm \(([\d.]+) x ([\d.]+) in\), X (\S+) to (\S+), Y .* Z (\S+)$", out, re.M
    )
    width, height, wide, _, x0, x1, z = map(float, size.groups())
    assert (width, height, x0, x1, z) == pytest.approx((26, 6, 17, 43, -2), abs=0.4), "a slot of 20 by a 6 mm mill"
    assert wide == pytest.approx(width / 25.4, abs=0.006)
    assert re.search(r"^Time: \d", out, re.M)
    unchecked = out.split("Not checked:\n")[1]
    assert "held against nothing" in unchecked
    assert "=" not in unchecked, "arguments of Python calls are no help on the command line"
    assert "T1" not in unchecked, "tools that the program does not call are not talked of"


def test_an_error_ends_with_status_1_and_stands_at_its_file_and_line(run):
    status, out, _ = run("bad.nc")
    assert status == 1
    line = BAD[: BAD.index("G0 X40")].count("\n") + 1
    assert re.search(rf"^bad\.nc:{line}: error rapid-in-material: .+ \(X 40\.0 Y 20\.0 Z -2\.00\) \[\d\]$", out, re.M)
    assert re.search(r"^[1-9] errors?,", out, re.M)
    first = out.split("\n")[0]
    assert ": error " in first, "the gravest first"


def test_the_sample_of_the_standard_is_read_and_its_lack_of_manners_is_told(run):
    """NISTIR 6556, appendix C.1, is a text for a reader, not for a careful shop: its first move goes in three axes."""
    status, out, _ = run(str(SAMPLE), size=("--stock", "120x40x6", "--material", "softwood"))
    assert status == 1
    assert re.search(r"nistir6556_c1\.rs274:4: error first-move", out)
    assert not re.search(r": error (bad|no-|unknown-)[a-z-]*(number|character|word|code)", out), "the grammar is kept"
    words = re.search(r"Cut: ([\d.]+) x ([\d.]+) mm", out)
    assert float(words[1]) == pytest.approx(81.6, abs=0.8), "letters up to X 81, cut half a millimetre deep by a V bit"


def test_several_programs_run_on_one_stock_in_their_order(run, here):
    """The second runs its rapid where the first has cut: no fault, but for the other order."""
    (here / "second.nc").write_text(BAD.replace("G1 Z-2 F400", "G1 Z-1.9 F400"))
    _, out, _ = run("good.nc", "second.nc")
    assert "rapid-in-material" not in out
    assert re.search(r"^second\.nc:\d+: error rapid-low", out, re.M)
    status, out, _ = run("second.nc", "good.nc")
    assert status == 1
    assert re.search(r"^second\.nc:\d+: error rapid-in-material", out, re.M)


def test_what_pathgen_writes_itself_passes_with_the_same_time(run, here):
    shop = pg.read_shop("tools.toml")
    board = pg.Stock(60, 40, 18, material="hardwood", zero="center")
    tray = pg.place(pg.plate(40, 24), board, fit="none")
    job = pg.Job("Tray", board, shop.machine, [
        pg.pocket(tray, shop.tools[2], depth=3, stock=board),
        pg.vgroove(pg.place(pg.plate(50, 1), board, fit="none"), shop.tools[1], stock=board),
    ])  # fmt: skip
    programs = job.programs()
    assert len(programs) == 2
    for p in programs:
        (here / p.name).write_text(p.text)
    status, out, _ = run(*(p.name for p in programs), "--zero", "center")
    assert (status, "0 errors" in out) == (0, True), out
    assert f"Time: {job.time()}" in out


def test_the_zero_is_where_it_is_said(run):
    _, out, _ = run("good.nc", "--zero", "center", size=("--stock", "100x80x18", "--material", "hardwood"))
    assert re.search(r"X 17\.\d to 43\.\d", out), "told from the work zero"
    status, out, _ = run("good.nc", "--zero", "40,0", "--zero-height", "table")
    assert status == 1
    assert "X 17.0 to 20.0" in out, "cut off by the edge of the stock"
    assert "error below-" in out or "warning below-" in out, "2 mm under the table"
    _, corner, _ = run("good.nc")
    _, point, _ = run("good.nc", "--zero", "0, 0in")
    assert corner == point


@pytest.mark.parametrize(
    "size", ["12x6x0.75in", "12 x 6 x 0.75 in", "12inx6inx3/4in", "304.8x152.4x19.05", "12×6×3/4in"]
)
def test_inches_are_taken_by_their_suffix(run, size):
    status, out, err = run("good.nc", "--json", "-", size=("--stock", size, "--material", "mdf"))
    assert (status, err) == (0, "")
    assert out == run("good.nc", "--json", "-", size=("--stock", "304.8x152.4x19.05mm", "--material", "mdf"))[1]


def test_the_report_as_json_says_the_same(run, here):
    status, out, _ = run("bad.nc", "--json", "-")
    told = json.loads(out)
    assert (status, told["ok"], told["programs"]) == (1, False, ["bad.nc"])
    _, text, _ = run("bad.nc", "--json", "report.json")
    assert json.loads((here / "report.json").read_text()) == told
    for f in told["findings"]:
        assert f"{f['severity']} {f['code']}: {f['text']}" in text
        assert (f["line"] is None) or f"bad.nc:{f['line']}: {f['severity']} {f['code']}" in text
    assert [f["number"] for f in told["findings"]] == list(range(1, len(told["findings"]) + 1))
    parts = ("feed", "rapid", "dwell", "change", "spin")
    assert told["time"]["total"] == pytest.approx(sum(told["time"][p] for p in parts), abs=1e-4)
    assert set(told["box"]) == {"x0", "y0", "x1", "y1", "z"}


def test_without_a_machine_no_time_is_told_and_with_one_its_limits_count(run, here):
    tools = TOOLS.read_text().split("[machine]")[0]
    (here / "bare.toml").write_text(tools)
    status, out, _ = run("good.nc", tools="bare.toml")
    assert status == 0
    assert "Time: not known, since no machine is given" in out
    assert "machine is not known" in out
    (here / "slow.toml").write_text(
        "[machine]\ntravel = [30, 30, 50]\nmax_feed = 500\nacceleration = 100\nmax_rpm = 12000\n"
    )
    status, out, _ = run("good.nc", "--machine", "slow.toml", tools="bare.toml")
    assert status == 1
    assert {"speed-above-machine", "feed-above-machine"} <= set(re.findall(r": \w+ ([a-z-]+):", out))
    assert "Time: " in out


def test_a_stock_kept_in_the_file_serves_where_none_is_given(run, here):
    kept = TOOLS.read_text() + "\n[stock]\nwidth = 60\nheight = 40\nthickness = 18\nmaterial = 'hardwood'\n"
    (here / "shop.toml").write_text(kept + "thickness_range = [17.5, 18.5]\n")
    status, out, _ = run("good.nc", tools="shop.toml", size=())
    assert status == 0
    assert "no range" not in out
    _, other, _ = run("good.nc", tools="shop.toml", size=SIZE)
    assert "no range" in other, "a size on the command line sets the stock of the file aside"
    _, turned, _ = run("good.nc", tools="shop.toml", size=("--zero", "center"))
    assert "X 17" in turned


def test_an_assumed_material_is_told(run):
    _, out, _ = run("good.nc", size=SIZE[:2])
    assert "The material is not stated (--material), so it was taken as mdf." in out
    assert "taken as mdf" not in run("good.nc")[1]


def test_the_picture_is_the_librarys_own(run, here):
    status, _, _ = run("bad.nc", "--picture", "part.png")
    assert status == 1
    shown = Image.open(here / "part.png")
    shop = pg.read_shop("tools.toml")
    board = pg.Stock(60, 40, 18, material="hardwood")
    proof = pg.check(BAD, tools=shop.tools, stock=board, machine=shop.machine)
    expected = Image.open(io.BytesIO(part_picture(board, proof, width=160)))
    assert shown.tobytes() == expected.tobytes()


# -- what is no program


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("empty.nc", b"", "the file is empty"),
        ("blank.nc", b" \n\r\n\t", "the file is empty"),
        ("photo.nc", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "binary"),
        ("zeros.nc", bytes(4000), "binary"),
        ("none.nc", None, "no such file"),
        (".", None, "folder"),
        ("a\0b", None, "cannot be read"),
    ],
)  # fmt: skip
def test_what_is_no_program_is_bad_input(run, here, name, content, says):
    if content is not None:
        (here / name).write_bytes(content)
    status, out, err = run("good.nc", name)
    assert (status, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1


def test_a_huge_file_is_refused_before_it_is_read(here, monkeypatch):
    monkeypatch.setattr(textfile, "LARGEST", len(GOOD) - 1)
    with pytest.raises(pg.DrawingError, match="split the program"):
        program_text("good.nc")


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1", "cp1252"])
def test_comments_in_any_code_page_change_no_move(run, here, code):
    text = GOOD.replace("G61\n", "G61\n(café Gänseblümchen)\n")
    (here / "coded.nc").write_bytes(text.encode(code))
    (here / "plain.nc").write_bytes(GOOD.replace("G61\n", "G61\n(cafe)\n").replace("\n", "\r\n").encode())
    status, out, _ = run("coded.nc")
    assert status == 0
    assert out.replace("coded.nc", "plain.nc") == run("plain.nc")[1]


def test_garbage_is_findings_with_their_lines_and_steers_no_terminal(run, here):
    (here / "garbage.nc").write_bytes(b"G1 X1 \x1b[31mhello\nQQ\x07 = 4\nG999\n\xff\xfe\n[[[[\n#1=#\n")
    status, out, _ = run("garbage.nc")
    assert status == 1
    for line in (1, 2, 3, 4, 5, 6):
        assert re.search(rf"^garbage\.nc:{line}: error ", out, re.M) or "more of these" in out
    assert all(c.isprintable() or c == "\n" for c in out)


def test_a_file_name_cannot_steer_the_terminal_either(run, here):
    name = "a\x1b[2Jb.nc"
    (here / name).write_text(BAD)
    status, out, _ = run(name)
    assert status == 1
    assert "\x1b" not in out
    assert r"a\x1b[2Jb.nc:" in out


# -- bad words


@pytest.mark.parametrize(
    ("words", "size", "says"),
    [
        (["good.nc"], (), "--stock is missing"),
        (["good.nc"], ("--stock", "60x40"), "width x height x thickness"),
        (["good.nc"], ("--stock", "60x40x18x3"), "width x height x thickness"),
        (["good.nc"], ("--stock", "60x40xthick"), "not one of mm, in"),
        (["good.nc"], ("--stock", "60x-40x18"), "height=-40"),
        (["good.nc"], ("--stock", "60x40x0"), "thickness=0"),
        (["good.nc"], ("--stock", "60x40x18cm"), "'cm' is not one of mm, in"),
        (["good.nc"], ("--stock", "infx40x18"), "finite"),
        (["good.nc"], ("--stock", "60x4.0.0x18"), "no length"),
        (["good.nc"], ("--stock", ""), "width x height x thickness"),
        (["good.nc"], (*SIZE[:2], "--material", "cheese"), "--material 'cheese'"),
        (["good.nc", "--zero", "middle"], SIZE, "--zero 'middle'"),
        (["good.nc", "--zero", "1,2,3"], SIZE, "--zero"),
        (["good.nc", "--zero", "a,b"], SIZE, "--zero a,b"),
        (["good.nc", "--zero-height", "sky"], SIZE, "invalid choice"),
        (["good.nc", "--grid", "0"], SIZE, "--grid 0"),
        (["good.nc", "--grid", "nan"], SIZE, "--grid nan"),
        (["good.nc", "--grid", "0.0001"], SIZE, "coarser grid"),
        (["good.nc", "--grid", "fine"], SIZE, "--grid fine"),
        (["good.nc", "--machine", "none.toml"], SIZE, "no such file"),
        (["good.nc", "--machine", "good.nc"], SIZE, "no TOML"),
        (["good.nc", "--picture", "no/folder/a.png"], SIZE, "cannot be written"),
        (["good.nc", "--json", "."], SIZE, "cannot be written"),
        (["good.nc", "--colour", "red"], SIZE, "unrecognized"),
        ([], SIZE, "required"),
    ],
)  # fmt: skip
def test_bad_words_are_told_in_one_sentence_with_status_2(run, words, size, says):
    status, _, err = run(*words, size=size)
    assert status == 2
    assert says in err
    assert len(err.strip().split("\n")[-1]) < 400


def test_all_problems_of_a_tools_file_come_at_once(run, here):
    (here / "tools.toml").write_text(
        "[[tool]]\nnumber = 1\nkind = 'drll'\n[[tool]]\nnumber = 2\nkind = 'drill'\ndiametr = 3\n"
    )
    status, out, err = run("good.nc")
    assert (status, out) == (2, "")
    assert [line.split(": ")[0] for line in err.splitlines()] == ["tools.toml:3", "tools.toml:4", "tools.toml:7"]
    (here / "tools.toml").write_text("[machine]\ntravel = [1, 1, 1]\nmax_feed = 1\nacceleration = 1\nmax_rpm = 1\n")
    assert "holds no tools" in run("good.nc")[2]


def test_a_machine_file_without_a_machine_is_told(run, here):
    (here / "m.toml").write_text("[stock]\nwidth = 1\nheight = 1\nthickness = 1\nmaterial = 'mdf'\n")
    status, _, err = run("good.nc", "--machine", "m.toml")
    assert status == 2
    assert "holds no machine" in err


def test_running_out_of_memory_or_patience_is_no_traceback(run, monkeypatch):
    for error, expected in ((MemoryError(), 2), (KeyboardInterrupt(), 130), (PathgenError("no"), 2)):

        def fail(*_, told=error, **__):
            raise told

        monkeypatch.setattr(sys.modules["pathgen.check"], "check", fail)
        assert run("good.nc")[0] == expected


# -- as a process


def command(*words, folder, **more):
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "pathgen", *words], capture_output=True, cwd=folder, timeout=60, **more
    )


def test_it_runs_as_a_module_and_prints_ascii_where_nothing_else_can_be_shown(here):
    (here / "tools.toml").write_text(
        TOOLS.read_text().replace('name = "V bit 60 deg"', 'name = "Fräser 60° × 12,7 – é"')
    )
    (here / "v.nc").write_text(BAD.replace("T2", "T1"))
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = command("check", "v.nc", "--tools", "tools.toml", *SIZE, folder=here, env=environment)
    assert (done.returncode, done.stderr) == (1, b"")
    assert done.stdout.isascii()
    assert b"T1 Fraser 60 deg x 12,7 - e" in done.stdout
    environment["PYTHONIOENCODING"] = "utf-8"
    done = command("check", "v.nc", "--tools", "tools.toml", *SIZE, folder=here, env=environment)
    assert "T1 Fräser 60° × 12,7 – é" in done.stdout.decode()


def test_a_reader_that_goes_away_is_no_traceback(here):
    words = [sys.executable, "-m", "pathgen", "check", "bad.nc", "--tools", "tools.toml", *SIZE]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=here) as run:
        run.stdout.close()
        assert (run.stderr.read(), run.wait(60)) == (b"", 2)


def test_help_names_every_option_and_the_exit_status(capsys):
    with pytest.raises(SystemExit) as stop:
        cli.main(["check", "--help"])
    assert stop.value.code == 0
    out = capsys.readouterr().out
    for word in (
        "--tools",
        "--stock",
        "--material",
        "--zero",
        "--machine",
        "--grid",
        "--picture",
        "--json",
        "Exit status",
    ):
        assert word in out
    with pytest.raises(SystemExit) as stop:
        cli.main(["--version"])
    assert (stop.value.code, capsys.readouterr().out) == (0, f"pathgen {pg.__version__}\n")


def test_the_page_shows_what_the_command_says(run, here):
    """The example on docs/check.md, with the program of the same page; an ellipsis stands for lines left out."""
    page = (ROOT / "docs" / "check.md").read_text()
    (here / "sign.rs274").write_text(re.search(r'text = """(.*?)"""', page, re.S)[1])
    lines = page.split("    $ pathgen check ")[1].split("\n\n")[0].split("\n    ")
    words = lines[0].replace("shared/tools.toml", str(TOOLS)).split()
    assert (words[0], words[-2:]) == ("sign.rs274", ["--picture", "sign.png"])
    status, out, _ = run(*words, size=(), tools=str(TOOLS))
    assert status == 1
    assert (here / "sign.png").exists()
    shown = [line for line in lines[1:] if line != "…"]
    assert len(shown) >= 5
    at = [out.splitlines().index(line) for line in shown]
    assert at == sorted(at)


def test_the_page_names_every_option_of_the_command_and_every_key_of_the_file(capsys):
    page = (ROOT / "docs" / "check.md").read_text()
    with pytest.raises(SystemExit):
        cli.main(["check", "--help"])
    options = set(re.findall(r"--[a-z-]+", capsys.readouterr().out)) - {"--help"}
    assert len(options) > 7
    assert options <= set(re.findall(r"--[a-z-]+", page))
    keys = set(re.findall(r"`([a-z_]+)`", page.split("| table | keys |")[1]))
    assert set(_FORMS) <= keys


def test_the_installed_command_is_this_one():
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert project["scripts"] == {"pathgen": "pathgen.cli:main"}


# -- the report itself


def test_findings_of_no_program_and_numbers_that_json_lacks_are_told_plainly():
    board = pg.Stock(10, 10, 5, material="mdf", zero="center")
    some = (
        Finding(
            code="a-b", severity="warning", text="All of it", where=(5, 5, -1), amount=float("nan"), program="2", line=3
        ),
        Finding(code="c-d", severity="error", text="Why?", advice="Look."),
    )
    height = pg.HeightMap([[0.0, 0.0], [0.0, 0.0]], pixel=5)
    proof = pg.Proof(height=height, findings=some, unchecked=("That (at=) is open.",))
    lines = list(report_lines(proof, board, ["one.nc", "two.nc"]))
    assert lines[:2] == [
        "all programs: error c-d: Why? Look.",
        "two.nc:3: warning a-b: All of it. (X 0.0 Y 0.0 Z -1.00) [2]",
    ]
    assert lines[2:] == [
        "1 error, 1 warning, 0 notes", "Cut: nothing", "Time: not known, since no machine is given", "Not checked:",
        "- That is open.",
    ]  # fmt: skip
    told = json.loads(report_json(proof, board, ["one.nc", "two.nc"]))
    assert told["findings"][1]["amount"] is None
    assert told["findings"][1]["file"] == "two.nc"
    assert told["findings"][0]["file"] is None
    assert (told["box"], told["time"], told["ok"]) == (None, None, False)


# -- files that are given are kept


@pytest.mark.parametrize(
    "words",
    [
        ["--picture", "good.nc"],
        ["--json", "./good.nc"],
        ["--picture", "tools.toml"],
        ["--picture", "link.nc"],
        ["--json", "one.out", "--picture", "one.out"],
    ],
)
def test_nothing_is_written_over_a_file_that_is_read_nor_twice_into_one(run, here, words):
    (here / "link.nc").symlink_to(here / "good.nc")
    status, out, err = run("good.nc", *words)
    assert (status, out) == (2, "")
    assert f"{words[-2]} {words[-1]} would write over that file" in err
    assert (here / "good.nc").read_text() == GOOD
    assert (here / "tools.toml").read_text() == TOOLS.read_text()
    assert not (here / "one.out").exists()


def test_a_wrong_zero_or_material_is_told_by_its_own_option_alone(run):
    for option, value in (("--zero", "middle"), ("--material", "cheese")):
        status, _, err = run("good.nc", "--stock", "60x40x18", option, value, size=())
        assert status == 2
        assert err.startswith(f"pathgen: {option} '{value}'"), err


def test_a_coarse_grid_is_told_without_python_words(run):
    _, out, _ = run("good.nc", "--grid", "20")
    sentence = next(line for line in out.splitlines() if "coarse for a tool" in line)
    assert "=" not in sentence
