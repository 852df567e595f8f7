"""Walking a folder: which files are taken, and in what order."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from reader.errors import PhotoError
from reader.photo.load import PHOTO_SUFFIXES, find_photos


def make(folder: Path, *names: str) -> None:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"")


def names(folder: Path) -> list[str]:
    return [path.relative_to(folder).as_posix() for path in find_photos(folder)]


def test_natural_order(tmp_path: Path) -> None:
    make(tmp_path, "IMG_10.jpg", "IMG_9.JPG", "img_2.png", "box 10/1.tif", "box 9/1.tif", "IMG_009.jpg")

    assert names(tmp_path) == ["box 9/1.tif", "box 10/1.tif", "img_2.png", "IMG_009.jpg", "IMG_9.JPG", "IMG_10.jpg"]


def test_numbers_of_any_length_and_odd_figures(tmp_path: Path) -> None:
    make(tmp_path, "1" * 200 + ".jpg", "²³.jpg", "٣.jpg", "3.jpg")

    assert len(names(tmp_path)) == 4


def test_only_photos_that_are_not_hidden(tmp_path: Path) -> None:
    make(tmp_path, "a.jpg", "notes.txt", ".hidden.jpg", "._a.jpg", ".cache/b.jpg", "no suffix", "a.jpg.part")

    assert names(tmp_path) == ["a.jpg"]


@pytest.mark.parametrize("suffix", sorted(PHOTO_SUFFIXES))
def test_every_suffix_in_any_case(suffix: str, tmp_path: Path) -> None:
    make(tmp_path, f"a{suffix}", f"b{suffix.upper()}")

    assert names(tmp_path) == [f"a{suffix}", f"b{suffix.upper()}"]


def test_hidden_parents_of_the_folder_itself_do_not_matter(tmp_path: Path) -> None:
    make(tmp_path / ".scans", "a.jpg")

    assert names(tmp_path / ".scans") == ["a.jpg"]


def test_links_are_followed_but_not_in_circles(tmp_path: Path) -> None:
    make(tmp_path, "shop/a.jpg", "elsewhere/b.jpg")
    (tmp_path / "shop" / "again").symlink_to(tmp_path / "shop")
    (tmp_path / "shop" / "up").symlink_to(tmp_path)
    (tmp_path / "shop" / "dangling.jpg").symlink_to(tmp_path / "nowhere.jpg")

    found = [path.name for path in find_photos(tmp_path / "shop")]

    assert found == ["a.jpg", "b.jpg"]


def test_a_pipe_with_a_photos_name_is_left_out(tmp_path: Path) -> None:
    make(tmp_path, "a.jpg")
    os.mkfifo(tmp_path / "pipe.jpg")

    assert names(tmp_path) == ["a.jpg"]


def test_an_empty_folder(tmp_path: Path) -> None:
    assert find_photos(tmp_path) == []


@pytest.mark.parametrize("name", ["missing", "a.jpg"])
def test_no_folder(name: str, tmp_path: Path) -> None:
    make(tmp_path, "a.jpg")

    with pytest.raises(PhotoError, match=r"cannot be read .*; name a folder that exists"):
        find_photos(tmp_path / name)


def test_a_folder_below_that_cannot_be_opened_is_logged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    make(tmp_path, "a.jpg", "locked/b.jpg")
    real = Path.iterdir

    def refuse(folder: Path) -> object:
        if folder.name == "locked":
            raise PermissionError(13, "Permission denied")
        return real(folder)

    monkeypatch.setattr(Path, "iterdir", refuse)

    assert names(tmp_path) == ["a.jpg"]
    assert "locked: cannot be read (permission denied); its photos were left out" in caplog.text
