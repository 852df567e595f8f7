"""The built-in descriptor against the published rules, and that our reader refuses broken descriptors.

Rules: Table Schema 1.0.0-rc.2 (Frictionless Data, 4 October 2019), read from the specification's text; Data Package and
Data Resource of the same family (names, paths, resources, profiles), partly from memory. The library of the standard's
makers is asked in tests/published/test_table_descriptors.py.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from pathlib import Path, PurePosixPath
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reader.dating.schema import check_package, read_package
from reader.dating.tables import DATA_FOLDER, FORMS, PUBLISHED_FOLDER, Basis, YearKind, load_tables
from reader.errors import TableError

RANGED = {"integer", "number", "date", "time", "datetime", "year", "yearmonth"}
SIZED = {"string", "array", "object"}
TYPES = RANGED | SIZED | {"boolean", "duration", "geopoint", "geojson", "any"}
CONSTRAINT_TYPES = {
    "required": TYPES,
    "unique": TYPES,
    "enum": TYPES,
    "minLength": SIZED,
    "maxLength": SIZED,
    "minimum": RANGED,
    "maximum": RANGED,
    "pattern": {"string"},
}
NAME = re.compile(r"[-a-z0-9._/]+")


def broken_rules(descriptor: dict[str, Any]) -> list[str]:
    """Return what in a tabular data package breaks the published rules."""
    found = []
    if not NAME.fullmatch(descriptor.get("name", "x")):
        found.append("package name")
    if not all(licence.get("name") or licence.get("path") for licence in descriptor.get("licenses", [])):
        found.append("license without name and path")
    resources = descriptor.get("resources", [])
    if not resources:
        found.append("no resources")
    for resource in resources:
        if not NAME.fullmatch(resource.get("name", "")):
            found.append("resource name")
        path = PurePosixPath(resource.get("path", "/"))
        if path.is_absolute() or ".." in path.parts:
            found.append("path")
        found += broken_schema_rules(resource.get("schema", {}), {r["name"]: r for r in resources})
    return found


def broken_schema_rules(schema: dict[str, Any], resources: dict[str, Any]) -> list[str]:
    fields = schema.get("fields")
    if not isinstance(fields, list) or not fields:
        return ["fields"]
    names = [field.get("name") for field in fields]
    found = [] if all(names) and len({name.lower() for name in names}) == len(names) else ["field names"]
    for field in fields:
        kind = field.get("type", "string")
        found += [] if kind in TYPES else [f"type {kind}"]
        for rule, value in field.get("constraints", {}).items():
            if kind not in CONSTRAINT_TYPES.get(rule, ()):
                found.append(f"constraint {rule} of {kind}")
            if rule == "enum" and not (isinstance(value, list) and value and len(set(value)) == len(value)):
                found.append("enum")
            if rule in ("required", "unique") and not isinstance(value, bool):
                found.append(rule)
    if not all(isinstance(text, str) for text in schema.get("missingValues", [""])):
        found.append("missingValues")
    key = schema.get("primaryKey", [])
    if not set([key] if isinstance(key, str) else key) <= set(names):
        found.append("primaryKey")
    for foreign in schema.get("foreignKeys", []):
        other = resources.get(foreign["reference"]["resource"], {"schema": {"fields": []}})
        if foreign["fields"] not in names or foreign["reference"]["fields"] not in [
            field["name"] for field in other["schema"]["fields"]
        ]:
            found.append("foreignKeys")
    return found


def built_in(folder: Path = DATA_FOLDER) -> dict[str, Any]:
    descriptor = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert isinstance(descriptor, dict)
    return descriptor


@pytest.mark.parametrize("folder", [DATA_FOLDER, PUBLISHED_FOLDER], ids=["invented", "published"])
def test_the_built_in_descriptor_keeps_the_published_rules(folder: Path) -> None:
    descriptor = built_in(folder)
    assert broken_rules(descriptor) == []
    assert descriptor["profile"] == "tabular-data-package"
    assert {resource["profile"] for resource in descriptor["resources"]} == {"tabular-data-resource"}


def test_both_built_in_packages_have_one_form() -> None:
    one, other = (built_in(folder)["resources"] for folder in (DATA_FOLDER, PUBLISHED_FOLDER))
    assert one == other


def test_the_rules_above_can_fail() -> None:
    """Counter-examples: the first three are well known wrong forms of the specification."""
    assert {"package name", "no resources"} <= set(broken_rules({"name": "My Package", "resources": []}))
    for path in ("../x.csv", "/etc/x"):
        descriptor = built_in()
        descriptor["resources"][0]["path"] = path
        assert broken_rules(descriptor) == ["path"]
    descriptor = built_in()
    descriptor["resources"][0]["schema"]["fields"][0]["constraints"]["minimum"] = 3
    descriptor["resources"][1]["schema"]["primaryKey"] = ["nothing"]
    assert broken_rules(descriptor) == ["constraint minimum of string", "primaryKey"]


def test_fields_stand_in_the_order_of_the_columns() -> None:
    for folder, resource in ((f, r) for f in (DATA_FOLDER, PUBLISHED_FOLDER) for r in built_in(f)["resources"]):
        with (folder / resource["path"]).open(encoding="utf-8", newline="") as file:
            header = next(csv.reader(file))
        assert [field["name"] for field in resource["schema"]["fields"]] == header
        assert all(field.get("description") for field in resource["schema"]["fields"])


def test_every_csv_file_is_described() -> None:
    for folder in (DATA_FOLDER, PUBLISHED_FOLDER):
        described = {resource["path"] for resource in built_in(folder)["resources"]}
        assert described == {path.name for path in folder.glob("*.csv")}


def test_the_descriptor_and_the_code_know_the_same_words() -> None:
    fields = {field["name"]: field for field in built_in()["resources"][1]["schema"]["fields"]}
    assert fields["year_kind"]["constraints"]["enum"] == [kind.value for kind in YearKind]
    assert fields["basis"]["constraints"]["enum"] == [basis.value for basis in Basis]
    assert fields["form"]["constraints"]["enum"] == list(FORMS)


def _field(number: int, **change: Any) -> Callable[[Any], object]:
    return lambda descriptor: descriptor["resources"][1]["schema"]["fields"][number].update(change)


def _schema(**change: Any) -> Callable[[Any], object]:
    return lambda descriptor: descriptor["resources"][1]["schema"].update(change)


def _resource(**change: Any) -> Callable[[Any], object]:
    return lambda descriptor: descriptor["resources"][1].update(change)


FOREIGN = {"fields": "maker", "reference": {"resource": "makers", "fields": "id"}}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda descriptor: descriptor.pop("resources"), "'resources' is missing"),
        (lambda descriptor: descriptor.update(resources=[]), "no resources"),
        (lambda descriptor: descriptor.update(resources=[3]), "an object with 'name' belongs"),
        (lambda descriptor: descriptor["resources"].pop(), "no resource 'break-points'"),
        (_resource(name="makers"), "two resources"),
        (_resource(path="../x.csv"), "relative"),
        (_resource(path="/etc/x"), "relative"),
        (_resource(path="nothing.csv"), "cannot be read"),
        (_resource(schema={"fields": []}), "needs fields"),
        (_resource(dialect={"delimiter": "|"}), "another delimiter"),
        (_resource(encoding="latin-1"), "only UTF-8"),
        (_field(2, type="duration"), "type 'duration' is not read"),
        (_field(2, constraints={"pattern": "[0-9]+"}), "constraint 'pattern' is not checked for type integer"),
        (_field(2, constraints={"minimum": "few"}), "no whole number"),
        (_field(1, constraints={"pattern": "("}), "no regular expression"),
        (_field(1, constraints={"pattern": 5}), "no regular expression"),
        (_field(1, name="maker"), "a name of its own"),
        (_schema(primaryKey=["nothing"]), "primary key"),
        (_schema(foreignKeys=[{**FOREIGN, "reference": {"resource": "none", "fields": "id"}}]), "not there"),
        (_schema(foreignKeys=[{**FOREIGN, "fields": "nothing"}]), "not there"),
        (_schema(foreignKeys=[{**FOREIGN, "fields": ["maker", "series"]}]), "several columns"),
    ],
)
def test_a_broken_descriptor_is_refused(folder: Any, change: Callable[[Any], object], says: str) -> None:
    folder.change_descriptor(change)
    with pytest.raises(TableError, match=says) as caught:
        load_tables(folder.path)
    assert str(folder.path) in caught.value.file
    assert str(caught.value).isprintable()


@pytest.mark.parametrize("text", ["", "{", "[]", "3", "null", "\xff"])
def test_a_descriptor_that_is_no_json_object_is_refused(folder: Any, text: str) -> None:
    (folder.path / "datapackage.json").write_bytes(text.encode("latin-1"))
    with pytest.raises(TableError):
        load_tables(folder.path)


def test_constraints_may_be_written_as_text_and_missing_values_chosen(folder: Any) -> None:
    """Table Schema: constraint values may be strings that the type can read; missingValues replaces the default."""
    folder.change_descriptor(_field(2, constraints={"required": True, "minimum": "1", "maximum": "310000"}))
    folder.change_descriptor(_schema(missingValues=["", "none"]))
    folder.set_cell("break_points.csv", 1, "note", "none")
    rows = read_package(folder.path)["break-points"].rows
    assert rows[0]["note"] is None
    assert rows[0]["serial"] == 1200


def test_a_primary_key_may_not_be_empty_even_when_the_field_does_not_say_so(folder: Any) -> None:
    """Table Schema: a field of the primary key is required."""
    folder.change_descriptor(_field(1, constraints={}))
    folder.set_cell("break_points.csv", 5, "series", "")
    with pytest.raises(TableError, match="required") as caught:
        load_tables(folder.path)
    assert (caught.value.row, caught.value.column) == (5, "series")


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=8),
    lambda children: st.lists(children, max_size=3) | st.dictionaries(st.text(max_size=8), children, max_size=3),
    max_leaves=8,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.data(), JSON)
def test_any_value_anywhere_in_a_descriptor_is_read_or_refused(folder: Any, data: st.DataObject, value: Any) -> None:
    """A value of the built-in descriptor, drawn at any depth, is replaced by any other."""
    descriptor = built_in()
    place: Any = descriptor
    while True:
        keys = list(range(len(place))) if isinstance(place, list) else sorted(place)
        key = data.draw(st.sampled_from(keys))
        if not isinstance(place[key], list | dict) or not place[key] or data.draw(st.booleans()):
            place[key] = value
            break
        place = place[key]
    (folder.path / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    try:
        _, problems = check_package(folder.path / "datapackage.json")
    except TableError as error:
        problems = [error]
    assert all(str(problem).isprintable() for problem in problems)
