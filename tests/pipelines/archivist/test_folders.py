"""Walking folders: what is listed, what is left out and said to be; and knowing files again without reading them."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from pipelines.archivist.folders import list_files
from pipelines.archivist.places import Places, hash_file
from reader.errors import PhotoError


def make_files(folder: Path, *names: str) -> None:
    for name in names:
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(name)


def names(folder: Path, *places: Path) -> list[str]:
    return [os.path.relpath(found.path, folder) for found in list_files(places or (folder,)).files]


def test_photos_in_natural_order_each_once(tmp_path: Path) -> None:
    make_files(tmp_path, "b/10.jpg", "b/2.JPG", "a.tif", "b/c/1.png")
    (tmp_path / "z").symlink_to(tmp_path)
    assert names(tmp_path) == ["a.tif", "b/2.JPG", "b/10.jpg", "b/c/1.png"]
    assert names(tmp_path, tmp_path / "b", tmp_path, tmp_path / "a.tif") == [
        "b/2.JPG",
        "b/10.jpg",
        "b/c/1.png",
        "a.tif",
    ]


def test_what_is_left_out_is_counted(tmp_path: Path) -> None:
    make_files(tmp_path, ".hidden.jpg", ".folder/1.jpg", "notes.txt", "1.jpg")
    (tmp_path / "gone.jpg").symlink_to(tmp_path / "nowhere.jpg")
    os.mkfifo(tmp_path / "pipe.jpg")
    listing = list_files([tmp_path])
    assert [Path(found.path).name for found in listing.files] == ["1.jpg"]
    assert (listing.hidden, listing.others) == (2, 2)
    assert len(listing.problems) == 1
    assert "gone.jpg" in listing.problems[0]


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="cannot be opened"):
        list_files([tmp_path / "nowhere"])


@pytest.mark.skipif(os.geteuid() == 0, reason="root may open every folder")
def test_a_closed_folder_is_a_problem(tmp_path: Path) -> None:
    make_files(tmp_path, "1.jpg", "closed/2.jpg")
    (tmp_path / "closed").chmod(0)
    try:
        listing = list_files([tmp_path])
    finally:
        (tmp_path / "closed").chmod(0o700)
    assert len(listing.files) == 1
    assert len(listing.problems) == 1


def test_an_unchanged_file_is_known_again_and_a_changed_one_is_not(tmp_path: Path) -> None:
    make_files(tmp_path, "1.jpg")
    file, cache = tmp_path / "1.jpg", tmp_path / "cache" / "places.sqlite"
    os.utime(file, (1e9, 1e9))
    places = Places(cache)
    found = list_files([file]).files[0]
    assert places.find(found) is None
    places.learn(found, hash_file(found.path))
    places.save()
    assert Places(cache).find(found) == hash_file(found.path)
    assert Places(cache, trust=False).find(found) is None
    os.utime(file, (1e9, 1e9 + 1))
    assert Places(cache).find(list_files([file]).files[0]) is None


def test_a_file_that_just_changed_is_not_trusted(tmp_path: Path) -> None:
    make_files(tmp_path, "1.jpg")
    now = time.time()
    os.utime(tmp_path / "1.jpg", (now, now))
    places = Places(tmp_path / "places.sqlite")
    found = list_files([tmp_path]).files[0]
    places.learn(found, "0" * 64)
    places.save()
    assert Places(tmp_path / "places.sqlite").find(found) is None


def test_a_broken_cache_is_done_without(tmp_path: Path) -> None:
    (tmp_path / "places.sqlite").write_text("no database at all, but long enough to look at")
    places = Places(tmp_path / "places.sqlite")
    make_files(tmp_path, "1.jpg")
    os.utime(tmp_path / "1.jpg", (1e9, 1e9))
    found = list_files([tmp_path / "1.jpg"]).files[0]
    places.learn(found, "0" * 64)
    places.save()
    assert places.find(found) is None
