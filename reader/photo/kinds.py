"""Which kind of file a run of bytes is, told from its first bytes.

In come a file's bytes (reader/photo/load.py read them); out goes the name of a picture format that decode.py reads, or
the name in plain words of something else that people hand in by mistake, and what to do about it. Signatures are those
of the formats' own specifications, written from memory; a file's name is never believed.
"""

from __future__ import annotations

SAVE_AS_PICTURE = "save it as JPEG, PNG or TIFF and give that file"
DEVELOP_RAW = "develop it to JPEG or TIFF in the camera's or a RAW program and give that file"
TAKE_STILL = "take a still photo, or save one frame of it as JPEG"
GIVE_PHOTO = "give a photo: JPEG, PNG, TIFF, WebP or HEIC"

_PICTURES: tuple[tuple[bytes, str], ...] = (
    (b"\xff\xd8\xff", "Jpeg"),
    (b"\x89PNG\r\n\x1a\n", "Png"),
    (b"II*\x00", "Tiff"),
    (b"MM\x00*", "Tiff"),
    (b"II+\x00", "Tiff"),  # BigTIFF
    (b"MM\x00+", "Tiff"),
    (b"GIF87a", "Gif"),
    (b"GIF89a", "Gif"),
    (b"BM", "Bmp"),
    (b"\x00\x00\x00\x0cjP  \r\n\x87\n", "Jpeg2K"),
    (b"\xff\x4f\xff\x51", "Jpeg2K"),
)

_OTHERS: tuple[tuple[bytes, str, str], ...] = (
    (b"%PDF", "a PDF document", "save the page or the picture in it as JPEG or TIFF and give that file"),
    (b"%!PS", "a PostScript document", SAVE_AS_PICTURE),
    (b"8BPS", "a Photoshop document", SAVE_AS_PICTURE),
    (b"FUJIFILMCCD-RAW", "a camera's RAW file", DEVELOP_RAW),
    (b"IIU\x00", "a camera's RAW file", DEVELOP_RAW),
    (b"IIRO", "a camera's RAW file", DEVELOP_RAW),
    (b"\xff\x0a", "a JPEG XL picture", SAVE_AS_PICTURE),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture", SAVE_AS_PICTURE),
    (b"\x1aE\xdf\xa3", "a video", TAKE_STILL),
    (b"\x00\x00\x01\xba", "a video", TAKE_STILL),
    (b"PK\x03\x04", "a ZIP archive or an office document", "take the photos out of it and give those"),
    (b"\x1f\x8b", "a compressed archive", "take the photos out of it and give those"),
    (b"ID3", "a sound file", GIVE_PHOTO),
    (b"OggS", "a sound or video file", GIVE_PHOTO),
    (b"\x7fELF", "a program", GIVE_PHOTO),
    (b"MZ", "a program", GIVE_PHOTO),
)

_HEIF_BRANDS = frozenset((b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1"))
_TEXT_BYTES = 1024


def picture_format(data: bytes) -> str | None:
    """Return the format's name, spelled as in Pillow's plug-ins ('Jpeg', 'Heif'), or None for what is no picture."""
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    brands = _ftyp_brands(data)
    if brands & {b"avif", b"avis"}:
        return "Avif"
    if brands & _HEIF_BRANDS:
        return "Heif"
    return next((name for start, name in _PICTURES if data.startswith(start)), None)


def looks_like(data: bytes) -> tuple[str, str]:
    """Return what bytes that are no picture look like, in plain words, and what to do about it."""
    brands = _ftyp_brands(data)
    if brands:
        return ("a camera's RAW file", DEVELOP_RAW) if b"crx " in brands else ("a video", TAKE_STILL)
    if data[:4] == b"RIFF":
        return ("a video", TAKE_STILL) if data[8:12] == b"AVI " else ("a sound file", GIVE_PHOTO)
    for start, what, remedy in _OTHERS:
        if data.startswith(start):
            return what, remedy
    return _text_kind(data[:_TEXT_BYTES])


def _ftyp_brands(data: bytes) -> set[bytes]:
    """Return the brands of an ISO base media file (ISO/IEC 14496-12), an empty set for other files."""
    if data[4:8] != b"ftyp":
        return set()
    end = min(int.from_bytes(data[:4], "big"), 512, len(data))
    return {data[8:12]} | {data[place : place + 4] for place in range(16, end, 4)}


def _text_kind(head: bytes) -> tuple[str, str]:
    """Tell drawings, web pages and plain text from bytes that mean nothing."""
    lower = head.lower()
    if b"<svg" in lower:
        return "an SVG drawing", SAVE_AS_PICTURE
    if b"<html" in lower or b"<!doctype html" in lower:
        return "a web page", "save the picture on it, not the page, and give that file"
    # The cut may have split a character: up to three bytes at the end are forgiven.
    text = next((head[: len(head) - cut] for cut in range(4) if _is_text(head[: len(head) - cut])), b"")
    return ("a text file", GIVE_PHOTO) if text else ("nothing that is known here", GIVE_PHOTO)


def _is_text(head: bytes) -> bool:
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return all(character.isprintable() or character in "\t\r\n\f\ufeff" for character in text)
