"""The folder of an export: whole files or none, nothing replaced unasked, nothing beside originals."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.export.record import ExportError
from pipelines.export.target import NAME_BYTES_MAX, PASSING, Target, safe_path
from reader.errors import SettingsError


def test_a_file_shows_only_when_it_is_whole(tmp_path: Path) -> None:
    target = Target(tmp_path / "out")
    with target.begin("a/b.txt") as draft:
        draft.write(b"half")
        assert [path.name for path in (tmp_path / "out/a").iterdir()] == [f".b.txt{PASSING}"]
        draft.write(b" whole")
        draft.commit()
    assert (tmp_path / "out/a/b.txt").read_bytes() == b"half whole"
    assert target.files["a/b.txt"].sha512 == hashlib.sha512(b"half whole").hexdigest()
    assert [path.name for path in (tmp_path / "out/a").iterdir()] == ["b.txt"]


def test_an_error_on_the_way_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), Target(tmp_path).begin("b.txt") as draft:
        draft.write(b"half")
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []


def test_the_same_bytes_stay_and_others_are_refused(tmp_path: Path) -> None:
    Target(tmp_path).write("b.txt", b"one")
    before = (tmp_path / "b.txt").stat()
    again = Target(tmp_path)
    again.write("b.txt", b"one")
    assert (again.new, again.kept) == (0, 1)
    assert (tmp_path / "b.txt").stat().st_ino == before.st_ino
    with pytest.raises(ExportError, match="--overwrite"):
        again.write("b.txt", b"two")
    assert [path.name for path in tmp_path.iterdir()] == ["b.txt"]
    assert (tmp_path / "b.txt").read_bytes() == b"one"
    Target(tmp_path, overwrite=True).write("b.txt", b"two")
    assert (tmp_path / "b.txt").read_bytes() == b"two"


def test_overwriting_a_link_replaces_the_link_alone(tmp_path: Path) -> None:
    (tmp_path / "original").write_bytes(b"precious")
    (tmp_path / "out").mkdir()
    (tmp_path / "out/b.txt").symlink_to(tmp_path / "original")
    (tmp_path / "out/c.txt").hardlink_to(tmp_path / "original")
    target = Target(tmp_path / "out", overwrite=True)
    target.write("b.txt", b"two")
    target.write("c.txt", b"two")
    assert (tmp_path / "original").read_bytes() == b"precious"


def test_a_folder_in_the_way_is_refused(tmp_path: Path) -> None:
    (tmp_path / "b.txt").mkdir()
    with pytest.raises(ExportError):
        Target(tmp_path, overwrite=True).write("b.txt", b"one")


@pytest.mark.parametrize("place", [".", "box", "link"])
def test_no_export_over_or_beside_originals(tmp_path: Path, place: str) -> None:
    (tmp_path / "box").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "box")
    with pytest.raises(SettingsError, match="originals"):
        Target(tmp_path / place).protect([tmp_path / "box/lid.jpg"])


def test_a_link_inside_the_export_does_not_lead_to_the_originals(tmp_path: Path) -> None:
    (tmp_path / "photos/box").mkdir(parents=True)
    (tmp_path / "out").mkdir()
    (tmp_path / "out/box").symlink_to(tmp_path / "photos/box")
    target = Target(tmp_path / "out")
    target.protect([tmp_path / "photos/box/lid.jpg"])
    with pytest.raises(ExportError, match="beside"):
        target.write("box/lid.xmp", b"")
    assert list((tmp_path / "photos/box").iterdir()) == []


def test_a_sealed_export_takes_nothing_new(tmp_path: Path) -> None:
    Target(tmp_path).write("b.txt", b"one")
    target = Target(tmp_path)
    target.sealed = True
    target.write("b.txt", b"one")
    with pytest.raises(ExportError, match="finished"):
        target.write("c.txt", b"one")
    assert [path.name for path in tmp_path.iterdir()] == ["b.txt"]


@pytest.mark.parametrize("name", ["box/lid.jpg", "Größe 3.jpg", "a'b (2).tif", ".hidden", "=1+1.jpg"])
def test_plain_names_stay(name: str) -> None:
    assert safe_path(name) == name


PARTS = st.text(st.characters(exclude_characters="/\0"), min_size=1, max_size=150).filter(
    lambda part: part not in (".", "..")
)


@given(st.lists(PARTS, min_size=1, max_size=3).map("/".join))
def test_a_safe_path_fits_everywhere(relative: str) -> None:
    safe = safe_path(relative)
    assert len(safe.split("/")) == len(relative.split("/"))
    for part in safe.split("/"):
        assert 0 < len(part.encode()) <= NAME_BYTES_MAX
        assert part not in (".", "..")
        assert not set(part) & set('%\\:*?"<>|\r\n\0')
    assert safe_path(safe) == safe


@given(PARTS, PARTS)
def test_two_names_never_become_one(first: str, second: str) -> None:
    assert (safe_path(first) == safe_path(second)) == (first == second)
