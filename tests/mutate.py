"""Change the code piece by piece and ask whether a test notices: mutmut, one module after another.

`python -m tests.mutate --ends 1` tries, of every function of every module in `[tool.mutmut.tests]`
of `pyproject.toml`, the changes whose number ends with 1: the first and every tenth after it.
`--ends 0123456789` tries all, `--modules mixture influence` those of two modules. Each is tried
against the tests that the table names for its module, in a copy of the checkout.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[1]
SETTINGS = ROOT / "pyproject.toml"
TABLE = "[tool.mutmut]\n"
NOTICED = ("killed", "timeout", "suspicious", "segfault")


def tests_of() -> dict[str, list[str]]:
    """Return the paths of the modules to change, each with the tests that concern it."""
    return tomllib.loads(SETTINGS.read_text("utf-8"))["tool"]["mutmut"]["tests"]


def lay_out(folder: Path, module: str, tests: list[str]) -> None:
    """Copy what mutmut needs, with its settings for one module."""
    settings = SETTINGS.read_text("utf-8")
    told = tomllib.loads(settings)["tool"]["mutmut"]
    for name in (*told["source_paths"], *told["also_copy"], "tests"):
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy2
        copy(ROOT / name, folder / name)
    chosen = {"only_mutate": [module], "pytest_add_cli_args_test_selection": tests}
    lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in chosen.items())
    (folder / SETTINGS.name).write_text(settings.replace(TABLE, TABLE + lines), "utf-8")


def mutmut(folder: Path, *words: str) -> str:
    """Run mutmut there and return what it says."""
    command = [sys.executable, "-m", "mutmut", *words]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{' '.join(words)}: {done.stdout[-3000:]}{done.stderr[-3000:]}")
    return done.stdout


def try_module(module: str, tests: list[str], ends: str) -> Counter[str]:
    """Try the chosen changes of a module, print those that no test noticed, and count them all."""
    name = module.removesuffix(".py").replace("/", ".")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        lay_out(folder, module, tests)
        mutmut(folder, "run", "--max-children", "1", f"{name}.*[{ends}]")
        said = mutmut(folder, "results", "--all", "true").splitlines()
        found = dict(line.strip().split(": ", 1) for line in said if ": " in line)
        tried = {mutant: end for mutant, end in found.items() if end != "not checked"}
        missed = [mutant for mutant, end in tried.items() if end not in NOTICED]
        for mutant in missed:
            print(mutmut(folder, "show", mutant), flush=True)
    return Counter(noticed=len(tried) - len(missed), tried=len(tried))


def main() -> None:
    """Try the modules that are asked for and print how many changes were noticed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--modules", nargs="*", help="names of modules; without it, all")
    parser.add_argument("--ends", default="1", help="last digits of the changes that are tried")
    asked = parser.parse_args()
    total: Counter[str] = Counter()
    for module, tests in tests_of().items():
        if not asked.modules or Path(module).stem in asked.modules:
            count = try_module(module, tests, asked.ends)
            print(f"{module}: {count['noticed']} of {count['tried']} noticed", flush=True)
            total += count
    print(f"all: {total['noticed']} of {total['tried']} noticed")


if __name__ == "__main__":
    main()
