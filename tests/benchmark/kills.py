"""Kill runs at random moments and see that no half result is ever taken for a whole one.

Run `python -m tests.benchmark.kills --calibrate 160 --quarter 40` from the top of the checkout.
"""

import argparse
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout, suppress
from pathlib import Path

from airstats.__main__ import main as airstats_command
from airstats.base.result_folder import MAKING, UNFINISHED
from airstats.model.allowances import load_allowances
from tests.forks import Fork
from tests.invented import invent, save

QUARTERS = ("2025Q1", "2025Q2")
PAGES = ("why_jobs_run_over", "update_allowances", "price_jobs", "evidence")


def write_source(folder, jobs=24):
    """Write an invented firm's records as a firm would keep them."""
    return save(folder, invent(jobs=jobs))


def words_of(verb, source, quarter, out, *more):
    """Return what follows the program's name on the command line of one run."""
    return [verb, str(source), "--quarter", quarter, "--out", str(out), *map(str, more)]


def command(verb, source, quarter, out):
    """Return the command line of one run."""
    return [sys.executable, "-m", "airstats", *words_of(verb, source, quarter, out)]


def quietly(words: list[str]) -> None:
    """Run a command, its words to nobody; end with its status."""
    with open(os.devnull, "w") as nobody, redirect_stdout(nobody), redirect_stderr(nobody):
        sys.exit(airstats_command(words))


def run_whole(call: list[str]) -> float:
    """Run to the end; return how long it took, s."""
    start = time.perf_counter()
    subprocess.run(call, check=True, capture_output=True)
    return time.perf_counter() - start


def kill_when(call: list[str], due: Callable[[float], bool]) -> bool:
    """Start a run and kill it once it is due, by the seconds run; return whether it was at work."""
    with tempfile.TemporaryFile() as heard:
        return kill_at(subprocess.Popen(call, stdout=heard, stderr=heard), due)


def kill_at(run: subprocess.Popen | Fork, due: Callable[[float], bool]) -> bool:
    """Kill a run that has begun, as `kill_when` does."""
    start = time.perf_counter()
    while run.poll() is None:
        if due(time.perf_counter() - start):
            run.kill()
            break
        time.sleep(0.0002)
    return run.wait() == -signal.SIGKILL


def changes(folder: Path, pattern: str) -> Callable[[], bool]:
    """Return what tells whether a file has been written since: not one left from before."""

    def there() -> set[tuple[str, int]]:
        found = set()
        for path in folder.glob(pattern):
            with suppress(FileNotFoundError):
                found.add((path.name, path.stat().st_mtime_ns))
        return found

    before = there()
    return lambda: bool(there() - before)


def due_at(
    turn: int, whole: float, at_work: Callable[[], bool], chance: random.Random
) -> Callable[[float], bool]:
    """Return when to kill: in even turns at a random moment, in odd ones while files change."""
    at = chance.uniform(0.02, 1.05) * whole
    return (lambda seconds: at_work()) if turn % 2 else (lambda seconds: seconds >= at)


def left_over(folder: Path) -> list[str]:
    """Return the hidden files and folders that runs left behind."""
    return sorted(path.name for path in folder.glob(".*"))


def quarters_shown(folder: Path) -> set[str]:
    """Return the quarters that the reports of a folder say they are of."""
    texts = [(folder / f"{name}.html").read_text(encoding="utf-8") for name in PAGES]
    found = [re.search(r"quarter</t[dh]>\s*<t[dh][^>]*>(\d{4}Q\d)", text) for text in texts]
    return {match[1] if match else "none" for match in found}


def try_calibrate(place: Path, times: int, chance: random.Random) -> dict[str, int]:
    """Kill `calibrate`: the file must hold the old or the new quarter, whole."""
    source, out = write_source(place / "records"), place / "files" / "a.json"
    whole = max(run_whole(command("calibrate", source, quarter, out)) for quarter in QUARTERS)
    texts = set()
    for quarter in QUARTERS:
        run_whole(command("calibrate", source, quarter, out))
        texts.add(out.read_bytes())
    seen = dict.fromkeys(("kills", "left hidden files"), 0)
    for turn in range(times):
        call = command("calibrate", source, QUARTERS[turn // 2 % 2], out)
        due = due_at(turn, whole, changes(out.parent, ".*"), chance)
        seen["kills"] += kill_when(call, due)
        load_allowances(out)
        assert out.read_bytes() in texts, "the allowances file is neither the old nor the new one"
        seen["left hidden files"] += bool(left_over(out.parent))
    run_whole(command("calibrate", source, QUARTERS[0], out))
    assert not left_over(out.parent), "the next run did not clear what killed runs left"
    return seen


def try_quarter(place: Path, times: int, chance: random.Random) -> dict[str, int]:
    """Kill `quarter`: reports and allowances are of one run, or a note says that they are not."""
    source, out = write_source(place / "records"), place / "report"
    run_whole(command("quarter", source, QUARTERS[0], out))
    whole = run_whole(command("quarter", source, QUARTERS[1], out))
    good = shutil.copytree(out, place / "good")
    seen = dict.fromkeys(("kills", "left hidden files", "left the note"), 0)
    for turn in range(times):
        call = command("quarter", source, QUARTERS[turn // 2 % 2], out)
        due = due_at(turn, whole, changes(out, UNFINISHED), chance)
        seen["kills"] += kill_when(call, due)
        seen["left hidden files"] += (out / MAKING).exists()
        noted = (out / UNFINISHED).exists()
        seen["left the note"] += noted
        known = load_allowances(out / "allowances.json")
        assert noted or quarters_shown(out) == {known.quarter}
        if noted:
            # Else the note of this kill would excuse what the next one leaves.
            shutil.rmtree(out)
            shutil.copytree(good, out)
    run_whole(command("quarter", source, QUARTERS[0], out))
    assert not left_over(out), "the next run did not clear what killed runs left"
    assert not (out / UNFINISHED).exists()
    assert quarters_shown(out) == {load_allowances(out / "allowances.json").quarter}
    return seen


def main() -> None:
    """Print what was seen."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--calibrate", type=int, default=160, help="runs of calibrate to kill")
    parser.add_argument("--quarter", type=int, default=40, help="runs of quarter to kill")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chance = random.Random(asked.seed)
    place = Path(tempfile.mkdtemp(prefix="kills-"))
    for name, trial, times in (
        ("calibrate", try_calibrate, asked.calibrate),
        ("quarter", try_quarter, asked.quarter),
    ):
        if times:
            print(f"{name}: {times} runs: {trial(place / name, times, chance)}", flush=True)
    shutil.rmtree(place)


if __name__ == "__main__":
    main()
