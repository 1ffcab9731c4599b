"""Files are written all or not at all, and a failure says where and why."""

import os
from pathlib import Path

import pytest

import pathgen as pg
from pathgen.errors import WriteError
from pathgen.program.files import check_suffix, folder_for, write_all

TWO = {"a.txt": "new a", "b.bin": b"new b"}


def content(folder):
    return {p.name: p.read_bytes() for p in Path(folder).iterdir()}


def test_files_and_folders_are_made(tmp_path):
    places = write_all(tmp_path / "x" / "y", TWO)
    assert [p.name for p in places] == ["a.txt", "b.bin"]
    assert content(tmp_path / "x" / "y") == {"a.txt": b"new a", "b.bin": b"new b"}


def test_an_existing_folder_keeps_its_other_files_and_gets_the_new_ones(tmp_path):
    (tmp_path / "a.txt").write_text("old a")
    (tmp_path / "other").write_text("stays")
    write_all(tmp_path, TWO)
    assert content(tmp_path) == {"a.txt": b"new a", "b.bin": b"new b", "other": b"stays"}


def test_a_folder_in_the_place_of_a_file_is_named_and_old_files_stay(tmp_path):
    (tmp_path / "a.txt").write_text("old a")
    (tmp_path / "b.bin").mkdir()
    with pytest.raises(WriteError, match=r"b\.bin is a folder"):
        write_all(tmp_path, TWO)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "b.bin"]
    assert (tmp_path / "a.txt").read_text() == "old a"


@pytest.mark.parametrize("step", ["fsync", "replace"])
@pytest.mark.parametrize("at", [1, 2, 3])
def test_a_disk_error_at_any_step_leaves_the_folder_as_it_was(tmp_path, monkeypatch, step, at):
    """Old files are put back, new ones taken away, whichever call fails."""
    (tmp_path / "a.txt").write_text("old a")
    calls = [0]
    true = getattr(os, step)

    def failing(*args):
        calls[0] += 1
        if calls[0] == at:
            raise OSError(28, "No space left on device")
        return true(*args)

    monkeypatch.setattr(os, step, failing)
    if step == "fsync" and at == 3:  # only two files are written
        write_all(tmp_path, TWO)
        return
    with pytest.raises(WriteError, match="No space left on device"):
        write_all(tmp_path, TWO)
    monkeypatch.undo()
    assert content(tmp_path) == {"a.txt": b"old a"}


def test_folders_made_on_the_way_are_taken_away_again(tmp_path, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(WriteError):
        write_all(tmp_path / "x" / "y", TWO)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("suffix", ["nc", ".", "", ".a b", "./x", "..", ".é", ".²", "." + "a" * 17, 5, ".html", ".PNG"])
def test_a_suffix_is_a_dot_and_plain_letters(suffix):
    with pytest.raises(pg.ArgumentError, match="suffix="):
        check_suffix(suffix)
    check_suffix(".rs274")


@pytest.mark.parametrize(
    ("folder", "error", "says"),
    [
        (5, pg.ArgumentError, "folder=5"),
        (None, pg.ArgumentError, "folder=None"),
        ("", pg.ArgumentError, "is no path"),
        ("a\0b", pg.ArgumentError, "zero character"),
        ("FILE", WriteError, "is a file, not a folder"),
        ("FILE/x/y", WriteError, "is a file, not a folder"),
        ("x" * 5000, WriteError, "too long"),
    ],
)
def test_a_folder_that_cannot_be_one_is_refused_before_any_work(tmp_path, folder, error, says):
    (tmp_path / "FILE").write_text("x")
    if isinstance(folder, str) and folder and "\0" not in folder:
        folder = tmp_path / folder
    with pytest.raises(error, match=says) as caught:
        folder_for(folder)
    assert len(str(caught.value)) < 400
