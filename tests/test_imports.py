"""Imports run one way, and nobody pays for pictures or notebooks that were not asked for."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import airstats
from tests.mutate import ROOT, tests_of

PACKAGE = Path(airstats.__file__).parent
MODULES = sorted(path.stem for path in PACKAGE.glob("*.py") if path.stem != "__init__")

GEOMETRY = (
    "errors", "offcuts", "practice", "slit", "cuts", "outlines", "corner_pieces", "pieces",
)  # fmt: skip
READING = (
    "units", "materials", "corner_methods", "cut_patterns", "files", "defused", "quarters",
    "faults", "decoding", "names", "tables", "csv_tables", "cells", "dates", "sheets", "marks",
    "xlsx", "sheet_tables", "sources", "limits", "links", "checks", "records",
)  # fmt: skip
COMPUTING = (
    "openings", "cut_terms", "cut_choice", "break_even", "takeoff", "one_job", "depths",
    "likelihood", "mixture", "prior", "ascent", "calibration", "added_cuts", "belief_file",
    "material_file", "allowances", "codes", "chain", "influence", "watch",
    "material_quantities", "material_calibration", "quarterly", "pricing", "material_pricing",
    "prior_check", "orders", "pooling", "overrun", "looking_back", "hindsight", "evidence",
    "comparison", "breakdown", "came_true", "material_jobs", "material_look_back", "cutting",
    "buying", "diagnostics", "information", "sensitivity", "firms", "desk", "decisions",
)  # fmt: skip
SHOWING = (
    "phrases", "headings", "unmet", "screen", "words", "words_buying", "words_price",
    "sheet_looks", "sheet_crews", "sheet_slit", "sheet_geometry", "sheet_candidates", "sheet_packs",
    "sheet_materials", "price_sheet", "card", "words_cuts", "words_owner", "words_compared",
    "words_evidence", "words_doubts", "words_regression", "words_firms", "words_information",
    "words_update", "drafting", "drawing", "charts", "charts_price", "form", "charts_cuts",
    "charts_materials", "words_materials", "words_materials_evidence", "words_materials_owner",
    "charts_owner", "charts_update", "charts_evidence", "sections_owner", "sections_update",
    "sections_price", "sections_evidence",
)  # fmt: skip
RUNNING = (
    "masking", "blocks", "export", "pdf", "provenance", "kernels", "workbook", "staging",
    "chain_check", "many_firms", "buying_files", "spared", "verbs_materials", "verbs",
    "__main__",
)  # fmt: skip
RANK = {
    name: rank for rank, name in enumerate((*GEOMETRY, *READING, *COMPUTING, *SHOWING, *RUNNING))
}
"""A module may import those before it, and none after it."""

PICTURES_AND_NOTEBOOKS = {
    "matplotlib", "seaborn", "papermill", "nbformat", "nbconvert", "nbclient", "IPython",
}  # fmt: skip


def tree(module):
    return ast.parse((PACKAGE / f"{module}.py").read_text(encoding="utf-8"))


def imports(module):
    """Return every module that is imported, at the top or inside a function."""
    found = set()
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: write imports in full"
            found.add(node.module)
            if node.module == "airstats":
                found |= {f"airstats.{alias.name}" for alias in node.names}
    return found


def own_imports(module):
    names = {name.split(".")[1] for name in imports(module) if name.startswith("airstats.")}
    return names & set(MODULES)


def test_every_module_has_its_place():
    assert sorted(RANK) == MODULES, "give a new module its place in RANK, take out one that is gone"


@pytest.mark.parametrize("module", MODULES)
def test_imports_run_one_way(module):
    wrong = sorted(name for name in own_imports(module) if RANK[name] >= RANK[module])
    assert not wrong, f"{module} imports {', '.join(wrong)}, which stand after it"


@pytest.mark.parametrize("module", [*READING, *GEOMETRY, *COMPUTING])
def test_computing_never_plots(module):
    found = {name.split(".")[0] for name in imports(module)}
    assert not found & PICTURES_AND_NOTEBOOKS


@pytest.mark.parametrize("module", [*READING, *GEOMETRY, *COMPUTING, *SHOWING])
def test_only_the_command_line_prints(module):
    calls = [node.func for node in ast.walk(tree(module)) if isinstance(node, ast.Call)]
    assert "print" not in {call.id for call in calls if isinstance(call, ast.Name)}


def test_statsmodels_is_for_the_evidence_only():
    users = {m for m in MODULES if any(name.startswith("statsmodels") for name in imports(m))}
    assert users <= {"evidence", "firms"}


def run(code):
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_calibrating_and_pricing_load_no_pictures_and_the_package_next_to_nothing():
    heavy = sorted(PICTURES_AND_NOTEBOOKS | {"statsmodels"})
    shown = run(
        "import sys, airstats, airstats.chain, airstats.pricing, airstats.records\n"
        "airstats.calibrate, airstats.price, airstats.read_records\n"
        f"print([name for name in {heavy} if name in sys.modules])"
    )
    assert shown.strip() == "[]"
    assert run("import sys, airstats; print('numpy' in sys.modules)").strip() == "False"


def test_every_public_name_is_the_same_thing_twice():
    """A module of the same name would take its place on second use."""
    for name in airstats.__all__:
        assert getattr(airstats, name) is getattr(airstats, name)
    assert not set(airstats.__all__) & set(MODULES)
    for name in airstats.__all__:
        assert getattr(airstats, name) is not None
    with pytest.raises(AttributeError, match="airstats has no attribute 'nothing'"):
        _ = airstats.nothing


def test_the_modules_and_tests_that_mutation_names_are_there():
    named = tests_of()
    assert len(named) > 20
    for path in {*named, *(test for tests in named.values() for test in tests)}:
        assert (ROOT / path).is_file(), path
