"""Imports run one way, and nobody pays for pictures or notebooks that were not asked for."""

import ast
import json
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest
from importlinter.cli import lint_imports

import airstats
from tests import mutate
from tests.for_each import for_each
from tests.mutate import ROOT

PACKAGE = Path(airstats.__file__).parent
LINTER = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"][
    "importlinter"
]
RULES = {rule["id"]: rule for rule in LINTER["contracts"]}
COMPUTING = [name.split(".")[1] for name in RULES["no_pictures"]["source_modules"]]
HEAVY = sorted({*RULES["no_pictures"]["forbidden_modules"], "statsmodels"})


def modules(*packages):
    return sorted(path for name in packages for path in (PACKAGE / name).rglob("*.py"))


@cache
def tree(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def imports(path):
    """Return every module that is imported, at the top or inside a function."""
    found = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add(node.module)
    return found


def test_packages_import_one_way_without_circles(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    assert lint_imports() == 0, capsys.readouterr().out
    assert "Contracts: 3 kept, 0 broken" in capsys.readouterr().out


@for_each(RULES["one_way"]["layers"])
def test_a_package_says_its_job_and_names_what_it_gives(package):
    first = tree(PACKAGE / package / "__init__.py")
    lines = ast.get_docstring(first).splitlines()
    assert len(lines) > 2, "one line for the job, then what it takes and what it gives"
    assert "Takes " in lines[2]


@for_each(modules(*COMPUTING, "reports"))
def test_only_the_command_line_prints(path):
    calls = [node.func for node in ast.walk(tree(path)) if isinstance(node, ast.Call)]
    assert "print" not in {call.id for call in calls if isinstance(call, ast.Name)}


def test_statsmodels_is_for_the_evidence_only():
    every = PACKAGE.rglob("*.py")
    users = {p.stem for p in every if any(name.startswith("statsmodels") for name in imports(p))}
    assert users <= {"regressions", "between_firms"}


FRESH = f"""
import json, sys, airstats
found = {{"of the package": "numpy" in sys.modules}}
import airstats.records
found["readers"] = [name for name in ("python_calamine", "pyarrow.parquet") if name in sys.modules]
airstats.calibrate, airstats.price, airstats.read_records, airstats.split_overrun
found["heavy"] = [name for name in {HEAVY} if name in sys.modules]
import airstats.documents.run_notebooks, jsonschema
found["of notebooks"] = "lark" in sys.modules
of = jsonschema.FormatChecker(["iri"]).conforms
found["addresses"] = of("http://a/ä", "iri"), of("no>", "iri"), "lark" in sys.modules
from rfc3987_syntax import parse
print(json.dumps(found))
"""


@pytest.fixture(scope="module")
def fresh():
    """What a fresh process has loaded after one step and another."""
    call = [sys.executable, "-c", FRESH]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_calibrating_and_pricing_load_no_pictures_and_the_package_next_to_nothing(fresh):
    assert fresh["heavy"] == []
    assert not fresh["of the package"]


def test_records_load_neither_workbook_nor_parquet_reader(fresh):
    assert fresh["readers"] == []


def test_running_notebooks_builds_no_grammar_of_addresses_until_one_is_asked_for(fresh):
    assert not fresh["of notebooks"]
    assert fresh["addresses"] == [True, False, True]


def test_the_tests_build_no_grammar_of_addresses_either(pytestconfig):
    assert pytestconfig.pluginmanager.hasplugin("airstats.documents.grammar")


def test_every_public_name_is_the_same_thing_twice():
    """A package or module of the same name would take its place on second use."""
    for name in airstats.__all__:
        assert getattr(airstats, name) is getattr(airstats, name)
        assert getattr(airstats, name) is not None
    assert not set(airstats.__all__) & {path.stem for path in PACKAGE.iterdir()}
    with pytest.raises(AttributeError, match="airstats has no attribute 'nothing'"):
        _ = airstats.nothing


def test_the_modules_and_tests_that_mutation_names_are_there():
    named = mutate.tests_of()
    assert len(named) > 20
    for path in {*named, *(test for tests in named.values() for test in tests)}:
        assert (ROOT / path).is_file(), path
