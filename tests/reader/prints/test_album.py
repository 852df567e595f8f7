"""Pictures on album pages: found where they lie, and none where the scan is one picture."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from reader.geometry import map_points, quad_overlap
from reader.photo.load import load_photo
from reader.prints.album import cover_pictures, cut_picture, find_pictures
from tools.trials.old_prints import GROUNDS, SAMPLES, AlbumPage, compose_page, load_samples


def make_page(ground: str, count: int, seed: int = 3) -> AlbumPage:
    return compose_page(np.random.default_rng(seed), list(load_samples(600).values())[:6], ground, count)


@pytest.mark.parametrize(("ground", "count"), [("black felt", 4), ("cream paper", 6), ("white glass", 3)])
def test_prints_on_a_page_are_found_in_reading_order(ground: str, count: int) -> None:
    page = make_page(ground, count)
    found = find_pictures(page.pixels)
    assert len(found) == count
    for one, true in zip(found, page.quads, strict=True):
        assert quad_overlap(one, true)[0] > 0.85
        assert np.linalg.norm(one[0] - true[0]) < 0.1 * np.linalg.norm(true[1] - true[0])


def test_a_page_in_a_scanners_rim_is_searched_too() -> None:
    page = make_page("brown paper", 4, seed=6)
    scan = cv2.copyMakeBorder(page.pixels, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=(250, 250, 250))
    found = find_pictures(np.asarray(scan, np.uint8))
    assert len(found) == 4
    assert all(quad_overlap(one, true + 60)[0] > 0.85 for one, true in zip(found, page.quads, strict=True))


def test_the_samples_are_single_pictures() -> None:
    assert [len(find_pictures(load_photo(file).pixels)) for file in sorted(SAMPLES.glob("*.jpg"))] == [0] * 19


def test_an_even_page_and_noise_hold_no_pictures() -> None:
    rng = np.random.default_rng(1)
    assert find_pictures(np.full((600, 800, 3), 128, np.uint8)) == ()
    assert find_pictures(rng.integers(0, 255, (600, 800, 3), dtype=np.uint8)) == ()


def test_a_cut_leads_back_to_the_scan() -> None:
    page = make_page("gray card", 2)
    quad = find_pictures(page.pixels)[0]
    pixels, to_scan = cut_picture(page.pixels, quad)
    rows, columns = pixels.shape[:2]
    corners = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
    assert np.allclose(map_points(to_scan, corners), quad, atol=0.5)


def test_covered_pictures_leave_the_ground() -> None:
    page = make_page("black felt", 2)
    covered = cover_pictures(page.pixels, page.quads)
    middle = np.round(page.quads[0].mean(axis=0)).astype(int)
    assert np.abs(covered[middle[1], middle[0]].astype(int) - GROUNDS["black felt"]).max() < 15
    assert covered is not page.pixels
