"""The command on broken and hostile files: a one-line error each, the run goes on, only data on standard output."""

import json

from click.testing import CliRunner
from hostile_files import make_hostile_files
from PIL import Image

from pipelines.command import main


def test_every_hostile_file_gives_one_line_and_the_run_goes_on(tmp_path):
    hostile = make_hostile_files(tmp_path)
    assert len(hostile) >= 40
    good = tmp_path / "good.png"
    Image.new("RGB", (64, 48), "gray").save(good)
    paths = [str(path) for path in hostile.values()]
    result = CliRunner().invoke(main, ["read", "--format", "json", *paths, str(good)])
    lines = [json.loads(line) for line in result.stdout.splitlines()]
    assert result.exit_code == 1
    assert len(lines) == len(hostile) + 1
    for path, answer in zip(paths, lines[:-1], strict=True):
        assert set(answer) == {"version", "photo", "error"}
        assert "\n" not in answer["error"]
        assert answer["error"].count(";") >= 1, f"no remedy named for {path}"
    assert "error" not in lines[-1]
    assert "Traceback" not in result.output


def test_as_text_the_errors_go_to_standard_error(tmp_path):
    hostile = make_hostile_files(tmp_path)
    result = CliRunner().invoke(main, ["read", *[str(path) for path in hostile.values()]])
    assert result.exit_code == 1
    assert result.stdout == ""
    *errors, summary = result.stderr.splitlines()
    assert len(errors) == len(hostile)
    assert summary.endswith(f"{len(hostile)} of {len(hostile)} could not be read as photos")
