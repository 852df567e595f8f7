"""Every named view does what it says, whatever the light; compared with reference libraries where they can be."""

import cv2
import numpy as np
import pytest
from skimage import data

from reader.enhance.chalk import link_chalk_strokes
from reader.enhance.dust import suppress_dust
from reader.enhance.illumination import blur_coarsely, flatten_illumination
from reader.enhance.ink import SAUVOLA_K, threshold_ink
from reader.enhance.relief import emphasize_dark_strokes, filter_oriented_relief
from reader.enhance.views import VIEWS, make_view


def figures(ground: int, stroke: int, noise: float = 0.0, height: int = 40) -> tuple[np.ndarray, np.ndarray]:
    """Return gray pixels with '2749' drawn, and the mask of its strokes."""
    gray = np.full((120, 240), ground, np.uint8)
    mask = np.zeros_like(gray)
    for picture, value in ((gray, stroke), (mask, 255)):
        cv2.putText(picture, "2749", (50, 80), cv2.FONT_HERSHEY_SIMPLEX, height / 22, value, 5, cv2.LINE_AA)
    noisy = gray + np.random.default_rng(5).normal(0, noise, gray.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8), mask > 200


def stroke_contrast(view: np.ndarray, mask: np.ndarray) -> float:
    """Return how far strokes are from the ground, in standard deviations of the ground; positive where darker."""
    near = cv2.dilate(mask.astype(np.uint8), np.ones((25, 25))) > 0
    ground = view[near & (cv2.dilate(mask.astype(np.uint8), np.ones((9, 9))) == 0)].astype(float)
    return float((ground.mean() - view[mask].mean()) / (ground.std() + 1.0))


def test_the_plain_view_changes_nothing():
    gray, _ = figures(60, 150)
    assert np.array_equal(make_view("plain", gray, 40).pixels, gray)


@pytest.mark.parametrize("name", [name for name in VIEWS if name != "plain"])
@pytest.mark.parametrize(("ground", "stroke"), [(150, 60), (60, 150)])
def test_strokes_are_dark_on_bright_in_the_view_made_for_them(name, ground, stroke):
    made_for_dark = name not in ("bright-paint", "dusty-bright", "fine-bright", "chalk")
    made_for_bright = name not in ("dark-ink", "dusty-dark", "fine-dark", "ink-threshold")
    if (stroke < ground and not made_for_dark) or (stroke > ground and not made_for_bright):
        pytest.skip("the view is for the other polarity")
    gray, mask = figures(ground, stroke, noise=4)
    view = make_view(name, gray, 40)
    assert view.pixels.shape == gray.shape
    assert view.pixels.dtype == np.uint8
    assert stroke_contrast(view.pixels, mask) > 1.5
    assert [step.name for step in view.steps] == [step.__name__ for step in VIEWS[name].steps]


@pytest.mark.parametrize("name", list(VIEWS))
def test_views_take_any_size_and_flat_pictures(name):
    for shape in ((1, 1), (3, 200), (70, 5)):
        assert make_view(name, np.full(shape, 90, np.uint8), 40).pixels.shape == shape


def test_a_torch_spot_is_evened_out():
    gray, mask = figures(180, 90)
    ys, xs = np.mgrid[: gray.shape[0], : gray.shape[1]]
    light = 0.15 + 0.85 * np.exp(-((xs - 60) ** 2 + (ys - 60) ** 2) / (2 * 70**2))
    lit = (gray * light).astype(np.uint8)
    ground = ~mask
    flat = flatten_illumination(lit, 40)
    before = lit[ground].std() / lit[ground].mean()
    after = flat[ground].std() / flat[ground].mean()
    assert after < 0.6 * before


def test_the_coarse_blur_equals_opencvs_gaussian():
    """Reference: cv2.GaussianBlur at full size."""
    gray = data.camera()
    reference = cv2.GaussianBlur(gray.astype(np.float32), (0, 0), 20)
    inner = (slice(60, -60), slice(60, -60))
    assert np.abs(blur_coarsely(gray, 20) - reference)[inner].mean() < 1.0


def test_the_ink_threshold_is_skimages_sauvola():
    """Reference: scikit-image's threshold_sauvola on its own picture of a printed page."""
    from skimage.filters import threshold_sauvola

    page = data.page()
    expected = page > threshold_sauvola(page, window_size=25, k=SAUVOLA_K)
    assert np.array_equal(threshold_ink(page, 25 / 1.2) == 255, expected)


def test_dust_goes_and_strokes_stay():
    gray, mask = figures(140, 70)
    dusty = gray.copy()
    rng = np.random.default_rng(3)
    specks = rng.random(gray.shape) < 0.02
    dusty[specks & ~mask] = 230
    cleaned = suppress_dust(dusty, 40)
    assert (
        np.abs(cleaned.astype(int) - gray)[specks & ~mask].mean()
        < 0.5 * np.abs(dusty.astype(int) - gray)[specks & ~mask].mean()
    )
    assert stroke_contrast(cleaned, mask) > 0.8 * stroke_contrast(gray, mask)


def test_relief_shows_a_groove_whichever_wall_is_lit():
    """A groove lit from the left is dark left and bright right, and the other way round: both must give one line."""
    groove = np.full((60, 60), 120, np.uint8)
    groove[:, 27:30], groove[:, 30:33] = 60, 180
    for gray in (groove, groove[:, ::-1]):
        relief = filter_oriented_relief(np.ascontiguousarray(gray), 40)
        assert relief[30, 24:36].min() < 60
        assert relief[30, 5:15].min() > 200


def test_chalk_grains_in_a_row_are_linked_and_a_lone_grain_is_not():
    gray = np.full((80, 160), 60, np.uint8)
    for x in range(20, 100, 7):
        gray[38:42, x : x + 4] = 200
    gray[10:14, 140:144] = 200
    linked = link_chalk_strokes(gray, 40)
    assert linked[40, 24:96].max() < 128
    assert linked[5:20, 130:155].min() > linked[40, 24:96].max() + 20


def test_black_hat_is_opencvs():
    """Reference: cv2.morphologyEx with an ellipse of the documented size; the stretch keeps the order."""
    gray = data.text()
    expected = cv2.morphologyEx(gray, cv2.MORPH_BLACKHAT, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9)))
    view = emphasize_dark_strokes(gray, 9 / 0.42)
    order = np.argsort(expected, axis=None, kind="stable")
    assert (np.diff(view.ravel()[order].astype(int)) <= 0).all()
    assert len(np.unique(view)) > 40


@pytest.mark.parametrize("view", ["fine-dark", "fine-bright"])
def test_hairlines_on_large_figures_stand_out_from_broad_grain_after_scaling_to_forty_pixels(view):
    gray, mask = np.full((240, 480), 130, np.uint8), np.zeros((240, 480), np.uint8)
    seven, four = [(60, 40), (150, 40), (90, 200)], [(330, 200), (330, 40), (220, 150), (370, 150)]
    cv2.polylines(mask, [np.array(seven), np.array(four)], False, 255, 2, cv2.LINE_AA)
    grain = 10 * np.sin(np.arange(480) / 30)
    step = -14 if view == "fine-dark" else 14
    noisy = gray + grain + np.where(mask > 127, step, 0) + np.random.default_rng(5).normal(0, 3, gray.shape)
    photo = np.clip(noisy, 0, 255).astype(np.uint8)

    def small(picture: np.ndarray) -> np.ndarray:
        return cv2.resize(picture, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)

    strokes = small(cv2.dilate(mask, np.ones((3, 3)))) > 127
    plain = small(photo) if view == "fine-dark" else 255 - small(photo)
    seen = stroke_contrast(small(make_view(view, photo, 160).pixels), strokes)
    assert seen > 3
    assert seen > 2 * stroke_contrast(plain, strokes)
