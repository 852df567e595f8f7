"""Files that are no readable photo: each ends in one line that names the file and says what to do."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import warnings
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from hostile_files import NO_FILES, encode, hostile_contents, make_hostile_files, picture
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

import reader
from reader.errors import PhotoError
from reader.photo.decode import check_jpeg
from reader.photo.load import load_photo

REMEDY_VERBS = ("copy", "give", "save", "take", "ask", "make", "check", "name", "split", "develop", "change", "install")


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return make_hostile_files(tmp_path_factory.mktemp("hostile"))


@pytest.mark.parametrize("name", [*hostile_contents(), *NO_FILES])
def test_hostile_file(name: str, hostile: dict[str, Path], capfd: pytest.CaptureFixture[str]) -> None:
    if name not in hostile:
        pytest.skip("this folder's name is too long for a socket")

    with pytest.raises(PhotoError) as caught:
        load_photo(hostile[name])

    text = str(caught.value)
    assert text.isprintable()
    assert text.startswith(f"{hostile[name]}: ")
    assert caught.value.remedy.startswith(REMEDY_VERBS)
    assert text.endswith(f"{caught.value.problem}; {caught.value.remedy}")
    assert tuple(capfd.readouterr()) == ("", "")


def test_a_fresh_process_prints_nothing(hostile: dict[str, Path]) -> None:
    """Without pytest's own handlers, Python prints what libraries warn of and log."""
    program = """
import sys
from pathlib import Path
from reader.errors import PhotoError
from reader.photo.load import load_photo
for name in sys.argv[1:]:
    try:
        load_photo(Path(name))
    except PhotoError:
        continue
    sys.exit(name + " was read")
"""
    command = [sys.executable, "-W", "always", "-c", program, *map(str, hostile.values())]
    root = Path(reader.__file__).parents[1]
    result = subprocess.run(command, cwd=root, capture_output=True, text=True, timeout=60, check=False)

    assert (result.returncode, result.stdout, result.stderr) == (0, "", "")


def test_there_are_at_least_40_hostile_files(hostile: dict[str, Path]) -> None:
    assert len(hostile) >= 40
    assert len(set(hostile.values())) == len(hostile)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("jpg-empty", "is empty"),
        ("jpg-text", "a text file"),
        ("pdf-document", "a PDF document"),
        ("svg-drawing", "an SVG drawing"),
        ("mov-video", "a video"),
        ("dng-raw", "RAW file"),
        ("nef-raw", "RAW file"),
        ("jpg-half", "ends before its picture is complete"),
        ("jpg-half-zeros", "ends before its picture is complete"),
        ("png-half", "ends before its picture is complete"),
        ("jpg-12-bits", "12 bits"),
        ("tif-float", "32-bit floating-point"),
        ("jpg-bomb", "65500 x 65500 pixels, 4290 megapixels, and the limit is 200"),
        ("jpg-bomb", "--max-megapixels 4291"),
        ("png-bomb", "60000 x 60000 pixels"),
        ("gif-bomb", "65535 x 65535 pixels"),
        ("tif-bomb", "100000 x 100000 pixels"),
        ("bmp-bomb", "60000 x 60000 pixels"),
        ("jp2-bomb", "99999 x 99999 pixels"),
        ("missing", "there is no such file"),
        ("folder", "is a folder"),
        ("pipe", "not a file"),
        ("huge", "1001 MB"),
    ],
)
def test_says_what_is_wrong(name: str, says: str, hostile: dict[str, Path]) -> None:
    with pytest.raises(PhotoError) as caught:
        load_photo(hostile[name])

    assert says in str(caught.value)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
@pytest.mark.parametrize(
    ("kind", "options"),
    [
        ("JPEG", {}),
        ("JPEG", {"progressive": True}),
        ("PNG", {}),
        ("TIFF", {}),
        ("TIFF", {"compression": "tiff_lzw"}),
        ("WEBP", {}),
        ("GIF", {}),
        ("BMP", {}),
    ],
)
def test_cut_files_are_refused(kind: str, options: dict[str, object], share: float, tmp_path: Path) -> None:
    data = encode(picture(), kind, **options)
    (tmp_path / "photo").write_bytes(data[: int(len(data) * share)])

    with pytest.raises(PhotoError):
        load_photo(tmp_path / "photo")


def test_a_name_with_control_characters_stays_on_one_line(tmp_path: Path) -> None:
    with pytest.raises(PhotoError) as caught:
        load_photo(tmp_path / "two\nlines\x1b[31m.jpg")

    assert str(caught.value).isprintable()
    assert r"two\nlines\x1b" in str(caught.value)


def test_a_name_with_a_nul_character() -> None:
    with pytest.raises(PhotoError, match="no valid name"):
        load_photo(Path("a\0b.jpg"))


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read every file")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(encode(picture(), "JPEG"))
    path.chmod(0)

    with pytest.raises(PhotoError, match="may not be read by you"):
        load_photo(path)


@pytest.mark.parametrize(
    ("error", "says"),
    [(PermissionError(13, "Permission denied"), "permissions"), (OSError(5, "I/O error"), "i/o error")],
)
def test_what_the_system_refuses(error: OSError, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(encode(picture(), "JPEG"))

    def refuse(*_: object) -> None:
        raise error

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(PhotoError, match=says):
        load_photo(path)


def test_too_little_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(encode(picture(), "JPEG"))

    def fail(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("reader.photo.decode.Image.Image.load", fail)
    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", fail)
    with pytest.raises(PhotoError, match="too large for this computer's memory"):
        load_photo(path)


def test_the_end_of_a_thumbnail_is_not_the_end_of_the_picture() -> None:
    data = encode(picture(), "JPEG", comment=b"\xff\xd9" * 20)

    check_jpeg(data)
    with pytest.raises(Exception, match="ends before"):
        check_jpeg(data[:-2])


def test_broken_exif_does_not_lose_the_picture(tmp_path: Path) -> None:
    data = encode(picture(), "JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\x7f" + bytes(30))
    (tmp_path / "photo.jpg").write_bytes(data)

    assert load_photo(tmp_path / "photo.jpg").orientation == 1


def test_many_threads_leave_the_process_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "photo.tif"
    path.write_bytes(encode(picture(), "TIFF", compression="tiff_lzw"))
    filters, limit = list(warnings.filters), Image.MAX_IMAGE_PIXELS

    with ThreadPoolExecutor(4) as pool:
        photos = list(pool.map(load_photo, [path] * 12))

    assert all(np.array_equal(photo.pixels, np.asarray(picture())) for photo in photos)
    assert (list(warnings.filters), Image.MAX_IMAGE_PIXELS) == (filters, limit)


def _valid_files() -> dict[str, bytes]:
    small = picture(40)
    exif = Image.Exif()
    exif[0x0112] = 6
    deep = Image.fromarray(np.asarray(small.convert("L")).astype(np.uint16) * 257)
    files = {
        "jpeg": encode(small, "JPEG", exif=exif),
        "progressive": encode(small, "JPEG", progressive=True),
        "png": encode(small, "PNG", exif=exif),
        "tiff": encode(small, "TIFF", exif=exif),
        "lzw": encode(small, "TIFF", compression="tiff_lzw"),
        "deflate": encode(small, "TIFF", compression="tiff_adobe_deflate"),
        "deep": encode(deep, "TIFF"),
        "webp": encode(small, "WEBP", exif=exif),
        "gif": encode(small, "GIF"),
        "bmp": encode(small, "BMP"),
        "jpeg2000": encode(small, "JPEG2000"),
    }
    try:
        import pillow_heif
    except ImportError:
        return files
    buffer = io.BytesIO()
    pillow_heif.from_pillow(small).save(buffer, quality=50)
    return {**files, "heic": buffer.getvalue()}


VALID = _valid_files()


def load_or_refuse(data: bytes, path: Path) -> None:
    """Load bytes as a photo; every other end than pixels or a PhotoError of one line fails the test."""
    path.write_bytes(data)
    try:
        assert load_photo(path).pixels.dtype == np.uint8
    except PhotoError as error:
        assert str(error).isprintable()


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("scratch") / "photo"


FUZZ = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True)
STARTS = (
    b"",
    b"\xff\xd8\xff",
    b"\x89PNG\r\n\x1a\n",
    b"II*\0",
    b"MM\0*",
    b"GIF89a",
    b"BM",
    b"RIFF\xff\0\0\0WEBP",
    b"\0\0\0\x18ftypheic",
)


@settings(FUZZ, max_examples=300)
@given(start=st.sampled_from(STARTS), rest=st.binary(max_size=400))
def test_random_bytes(start: bytes, rest: bytes, scratch: Path, capfd: pytest.CaptureFixture[str]) -> None:
    load_or_refuse(start + rest, scratch)

    assert tuple(capfd.readouterr()) == ("", "")


@st.composite
def damaged_files(draw: st.DrawFn) -> bytes:
    """Draw a valid file, cut somewhere or not, with up to eight bytes changed, in its header or anywhere."""
    whole = VALID[draw(st.sampled_from(sorted(VALID)))]
    data = bytearray(whole[: max(1, int(len(whole) * draw(st.just(1.0) | st.floats(0.02, 1))))])
    reach = min(len(data), draw(st.sampled_from([250, len(data)])))
    for place, value in draw(st.lists(st.tuples(st.integers(0, reach - 1), st.integers(0, 255)), max_size=8)):
        data[place] = value
    return bytes(data)


@settings(FUZZ, max_examples=400)
@given(data=damaged_files())
def test_cut_and_changed_files(data: bytes, scratch: Path, capfd: pytest.CaptureFixture[str]) -> None:
    load_or_refuse(data, scratch)

    assert tuple(capfd.readouterr()) == ("", "")
