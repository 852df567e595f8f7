"""`rakelight where`: cautions before places, both forms of output, saving the drawing, exit statuses."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines.command import main
from pipelines.where import GUIDE_COLUMNS, write_form
from reader.locations.guide import Form, load_guide, read_drawing

ROOT = Path(__file__).parents[2]
FORMS = load_guide()
HEADINGS = ("CAUTIONS", "WHERE TO LOOK", "OFTEN MISTAKEN", "HOW TO PHOTOGRAPH", "A year worked out from a number")

by_form = pytest.mark.parametrize("form", FORMS, ids=lambda form: form.id)


def run(*words: str) -> Result:
    return CliRunner().invoke(main, ["where", *words])


def flat(text: str) -> str:
    """Return a text on one line, so that broken lines do not matter."""
    return " ".join(text.split())


def test_without_a_form_the_forms_are_listed() -> None:
    result = run()
    assert result.exit_code == 0
    for form in FORMS:
        assert f"\n{form.id}\n" in result.stdout
        assert form.looks in flat(result.stdout)


@by_form
def test_cautions_stand_before_places(form: Form) -> None:
    result = run(form.id)
    assert result.exit_code == 0
    assert result.stderr == ""
    starts = [result.stdout.index(heading) for heading in HEADINGS]
    assert starts == sorted(starts)
    text = flat(result.stdout)
    first_place = text.index(form.places[0].place)
    for caution in form.cautions:
        assert text.index(caution.text) < first_place


@by_form
def test_the_text_tells_every_place(form: Form) -> None:
    text = flat(run(form.id).stdout)
    for place in form.places:
        for words in (f"{place.sign}. {place.place}", place.looks, place.reach, f"Hazard: {place.hazard}"):
            assert words in text
    for place in form.not_serial:
        assert f"{place.sign}. {place.place}" in text
    assert text.endswith(form.no_proof.text)
    assert "never a proof of age" in text


@by_form
@pytest.mark.parametrize("columns", [40, GUIDE_COLUMNS])
def test_lines_are_no_longer_than_asked_for(form: Form, columns: int) -> None:
    assert max(map(len, write_form(form, columns).splitlines())) <= columns


@by_form
def test_sources_are_shown_on_request(form: Form) -> None:
    plain, sourced = flat(run(form.id).stdout), flat(run(form.id, "--sources").stdout)
    for fact in (*form.places, *form.cautions, *form.mistaken_for, *form.photographing):
        assert fact.source in sourced
    assert "[" not in plain
    assert "Source:" not in plain


@by_form
def test_json_is_one_object_with_cautions_first(form: Form) -> None:
    result = run(form.id, "--format", "json")
    assert result.exit_code == 0
    assert result.stdout.count("\n") == 1
    data = json.loads(result.stdout)
    keys = list(data)
    assert data["form"] == form.id
    assert keys.index("cautions") < keys.index("places")
    assert [place["sign"] for place in data["places"]] == [place.sign for place in form.places]
    known = {caution["id"] for caution in data["cautions"]}
    for place in (*data["places"], *data["not_serial"], *data["everywhere"]):
        assert set(place["cautions"]) <= known
        assert place["source"]


def test_json_without_a_form_lists_them() -> None:
    data = json.loads(run("--format", "json").stdout)
    assert [entry["form"] for entry in data["forms"]] == [form.id for form in FORMS]


def test_an_alias_is_understood() -> None:
    assert run("parlour organ").stdout == run("reed-organ").stdout


def test_an_unknown_form_is_status_2_and_one_line() -> None:
    result = run("spinnet")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("rakelight: no form of instrument is called 'spinnet'; use one of square-grand, ")
    assert result.stderr.count("\n") == 1


def test_the_drawing_is_saved(tmp_path: Path) -> None:
    target = tmp_path / "square.svg"
    result = run("square-grand", "--drawing", str(target))
    assert result.exit_code == 0
    assert target.read_text(encoding="utf-8") == read_drawing(FORMS[0])
    assert result.stdout == run("square-grand").stdout
    assert "drawing saved" in result.stderr


def test_a_drawing_never_replaces_a_file_silently(tmp_path: Path) -> None:
    target = tmp_path / "square.svg"
    target.write_text("mine")
    result = run("square-grand", "--drawing", str(target))
    assert result.exit_code == 2
    assert "exists; choose another name, or add --overwrite" in result.stderr
    assert target.read_text() == "mine"
    assert run("square-grand", "--drawing", str(target), "--overwrite").exit_code == 0
    assert target.read_text(encoding="utf-8") == read_drawing(FORMS[0])
    assert [path.name for path in tmp_path.iterdir()] == ["square.svg"]


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["upright", "--drawing", "picture.png"], "does not end in .svg"),
        (["upright", "--drawing", "no-such-folder/a.svg"], "cannot be written"),
        (["upright", "--drawing", "no-such-folder/a.svg", "--overwrite"], "cannot be written"),
        (["--drawing", "a.svg"], "goes with one form"),
        (["upright", "--format", "csv"], "csv"),
        (["upright", "grand"], "unexpected extra argument"),
    ],
)
def test_wrong_usage_is_status_2_and_writes_nothing(
    words: list[str], complaint: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(*words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert complaint in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_the_place_of_the_drawing_stays(tmp_path: Path) -> None:
    target = tmp_path / "folder.svg"
    target.mkdir()
    for more in ([], ["--overwrite"]):
        assert run("upright", "--drawing", str(target), *more).exit_code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["folder.svg"]


def test_no_image_library_is_imported() -> None:
    code = "import sys; from reader.locations import guide; guide.load_guide(); " + (
        "print([m for m in ('cv2', 'numpy', 'PIL', 'skimage') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_text_survives_a_terminal_without_unicode() -> None:
    command = [sys.executable, "-m", "pipelines", "where", "square-grand", "--sources"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, check=False, env={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0, done.stderr
    assert b"13 13 13\\xbd 14" in done.stdout
