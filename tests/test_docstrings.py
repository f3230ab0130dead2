"""Who calls a function of three arguments or more can read what each of them is."""

import ast
import re
from pathlib import Path

import pytest

import airstats
from tests.for_each import for_each

PACKAGE = Path(airstats.__file__).parent
NOT_GIVEN = {"self", "cls"}


def public_functions(body, of=""):
    """Yield name and node of every public function and method of public classes."""
    for node in body:
        name = getattr(node, "name", "_")
        if name.startswith("_"):
            continue
        if isinstance(node, ast.ClassDef):
            yield from public_functions(node.body, f"{name}.")
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield of + name, node


def arguments(node):
    own = node.args
    every = [*own.posonlyargs, *own.args, own.vararg, *own.kwonlyargs, own.kwarg]
    return {one.arg for one in every if one} - NOT_GIVEN


def documented(doc):
    """Return the names that the `Parameters` section explains."""
    section = re.search(r"^Parameters\n-+\n(.*?)(?=\n\n\w[^\n]*\n-+\n|\Z)", doc, re.M | re.S)
    names = set()
    for line in section[1].splitlines() if section else ():
        if line and not line[0].isspace():
            names |= {name.strip(" *") for name in line.split(" :")[0].split(",")}
    return names


def undocumented(source):
    """Return `function: arguments` of those that a section leaves out, or that it makes up."""
    found = {}
    for name, node in public_functions(ast.parse(source).body):
        given, told = arguments(node), documented(ast.get_docstring(node) or "")
        if (len(given) >= 3 or told) and (wrong := given ^ told):
            found[name] = sorted(wrong)
    return found


@for_each(sorted(PACKAGE.rglob("*.py")))
def test_every_argument_of_a_public_function_is_explained(path):
    assert undocumented(path.read_text(encoding="utf-8")) == {}


SECTION = '''
class Job:
    def order(self, area, waste, *, pack):
        """Order.

        Parameters
        ----------
        area, waste : float
            m², and m² a m².
        {rest}

        Notes
        -----
        pack : counted
        """
'''


@pytest.mark.parametrize(
    ("rest", "wrong"),
    [
        ("pack\n            As for `price`.", {}),
        ("", {"Job.order": ["pack"]}),
        ("packs : int", {"Job.order": ["pack", "packs"]}),
    ],
)
def test_an_argument_left_out_or_misspelled_is_found(rest, wrong):
    assert undocumented(SECTION.format(rest=rest)) == wrong
