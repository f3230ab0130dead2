"""Put one source through the calls and commands that read records, and judge what comes out."""

import csv
import io
import json
from contextlib import redirect_stderr, redirect_stdout

import numpy as np
import pandas as pd
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

import airstats
from airstats.__main__ import main
from airstats.base.formula_guard import harmless
from airstats.intake.book import read_book
from airstats.intake.understand import understand
from airstats.records.raw_table import ADDED_COLUMNS

CALLS = {
    "calibrate": lambda records, known: airstats.calibrate(records),
    "calibrate on": lambda records, known: airstats.calibrate(records, known),
    "price": airstats.price,
    "price materials": airstats.price_materials,
    "backtest": lambda records, known: airstats.backtest(records),
}
VERBS = ("intake", "check", "calibrate", "calibrate on", "price", "price all", "backtest")
WAYS = (*((True, verb) for verb in VERBS), *((False, call) for call in CALLS))
"""A command, or a call from Python, and which."""
ORDERED = ["expected_m2", "low_m2", "high_m2", "order_rolls", "chance_short"]


def arguments(verb, source, out, known):
    """The command line of a verb that writes into the folder `out`."""
    orders = ["--allowances", str(known), "--out", str(out / "orders.csv")]
    return {
        "intake": ["intake", str(source), "--out", str(out)],
        "check": ["check", str(source)],
        "calibrate": ["calibrate", str(source), "--out", str(out / "a.json")],
        "calibrate on": ["calibrate", str(source), "--out", str(out / "a.json"),
                         "--previous", str(known)],
        "price": ["price", str(source), *orders],
        "price all": ["price", str(source), *orders, "--materials", "--buying-list", str(out)],
        "backtest": ["backtest", str(source), "--out", str(out)],
    }[verb]  # fmt: skip


def run(call):
    """Run a command in this process; its status, output and errors, which UTF-8 must hold."""
    shown = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2)]
    with redirect_stdout(shown[0]), redirect_stderr(shown[1]):
        status = main(call)
    texts = []
    for stream in shown:
        stream.flush()
        texts.append(stream.buffer.getvalue().decode("utf-8"))
    return status, *texts


def judge_command(verb, source, out, known, aside):
    """Run a verb: it is done and its files are sound, or it says why not and wrote nothing."""
    flag = ["--set-aside-bad-rows"] if aside and verb not in ("check", "intake") else []
    status, shown, said = run([*arguments(verb, source, out, known), *flag])
    assert "Traceback" not in shown + said
    assert status in (0, 1)
    if status:
        assert said.strip()
        assert not out.exists() or not list(out.iterdir())
        return
    assert not said
    if verb == "intake":
        _judge_intake(source, out)
        return
    records = airstats.read_records(source, set_aside_bad_rows=aside)
    if verb.startswith("calibrate"):
        _judge_allowances(out / "a.json", records)
    if verb.startswith("price"):
        _judge_orders(out / "orders.csv", records, verb)
    if verb != "check":
        assert (out / "set_aside.csv").exists() == bool(len(records.set_aside))


def _judge_intake(source, out):
    """What was written reads as the book does, and every job is there, or waits and is told."""
    understood = understand(source, out / "words.toml")
    names = {*understood.jobs["job_id"], *understood.waiting}
    assert names == set(understood.places)
    assert (out / "jobs.csv").exists() == bool(len(understood.jobs))
    if len(understood.jobs):
        written, book = airstats.read_records(out), read_book(source, out / "words.toml")
        assert_frame_equal(written.jobs, book.jobs)
        assert_frame_equal(written.openings, book.openings)


def _judge_allowances(file, records):
    content = json.loads(file.read_text(encoding="utf-8"), parse_constant=_no_number)
    assert airstats.load_allowances(file).job_ids == tuple(content["job_ids"])
    jobs = records.jobs
    may_count = set(jobs.loc[jobs["finished"] & jobs["exclude"].eq(""), "job_id"])
    assert set(content["new_jobs"]) <= may_count
    assert len(set(content["job_ids"])) == len(content["job_ids"])


def _no_number(word):
    raise AssertionError(f"{word} stands in an allowances file")


def _judge_orders(file, records, verb):
    rows = list(csv.DictReader(io.StringIO(file.read_text(encoding="utf-8"), newline="")))
    ids = [row["job_id"] for row in rows]
    if verb == "price":
        assert ids == [harmless(job) for job in records.jobs["job_id"]]
        numbers = np.array([[float(row[name]) for name in ORDERED] for row in rows])
        assert np.isfinite(numbers).all()
        assert (numbers >= 0).all()
    assert set(ids) <= {harmless(job) for job in records.jobs["job_id"]}


def judge_call(call, source, known, aside):
    """Make a call: an answer or a plain refusal, and the records stay as they were read."""
    try:
        records = airstats.read_records(source, set_aside_bad_rows=aside)
        kept = [table.copy(deep=True) for table in _tables(records)]
        answer = CALLS[call](records, airstats.load_allowances(known))
    except airstats.AirstatsError as error:
        refusal = str(error)
    else:
        _judge_answer(answer, records, kept)
        return
    assert refusal.encode("utf-8").strip()


def _judge_answer(answer, records, kept):
    for before, after in zip(kept, _tables(records), strict=True):
        assert_frame_equal(before, after, check_exact=True)
    if isinstance(answer, pd.DataFrame):
        assert set(answer.get("job_id", [])) <= set(records.jobs["job_id"])


def _tables(records):
    return records.jobs, records.openings, records.materials, records.set_aside


def judge(way, source, out, known, aside):
    """Go one way with a source, whose files stay as they are."""
    files = [source] if source.is_file() else sorted(source.iterdir())
    before = [file.read_bytes() for file in files]
    is_command, name = way
    if is_command:
        judge_command(name, source, out, known, aside)
    else:
        judge_call(name, source, known, aside)
    assert [file.read_bytes() for file in files] == before


NAMES = [
    "<script>alert(1)</script>", '=HYPERLINK("http://x.example","a")', "../../x", "..\\x",
    "A" * 200, "A" * 5000, "צוות א", "\u202eA1\u202c", "A1\u200f", "e\u0301" * 20,
    "Z" + "\u0300" * 150,
    "A1\0", "\0", "\ud800", "A\udfff1", "   ", "\u00a0\u2003", "\u200b", "\ufeff", "-", "n/a",
    "J01", "j01", "\u040801", "J０1", "caf\u00e9", "cafe\u0301", "CAF\u00c9", "\ufb01", "ß", "SS",
    "İ", "i\u0307", "None", "nan", "NaN", "TRUE", "1e5", "007", "7.0", "'", '"', "'=1", "a\nb",
    "a\tb", "a,b;c|d", "%s{0}{x}", "\\N{DIGIT ONE}", "total", "_x0000_", "👩‍🔧", "\U0010ffff",
    "\u2028", "\x85", "#REF!", "con", "-5", "+5", "@x",
]  # fmt: skip
HEADINGS = [
    *NAMES, *ADDED_COLUMNS, "index", "level_0", "table", "row", "reason", "laid_m2", "roll_m2",
    "lap_m2", "used_low_m2", "reveal_lined_m2", "Unnamed: 0", "job id", "lap_m", "lap_in", "Crew ",
    "counted", "surface_m2", "frame_tape_m", "joint_m", "corner_pieces", "driver", "need", "0",
]  # fmt: skip
ANY_TEXT = st.text(st.characters(codec=None), max_size=8) | st.text(
    st.characters(categories=["Cc", "Cf", "Cs", "Mn", "Zs", "Lo", "Nd", "Po"]), max_size=6
)
COLUMNS = {"jobs": ("crew", "exclude"), "openings": ("mark",), "materials": ()}


@st.composite
def namings(draw):
    """Draw new names for some jobs, new texts for some cells, and a heading for a column."""
    names = st.sampled_from(NAMES) | ANY_TEXT
    jobs = draw(st.dictionaries(st.integers(0, 5), names, max_size=3))
    cells = draw(
        st.lists(
            st.tuples(
                st.sampled_from([(t, c) for t, columns in COLUMNS.items() for c in columns]),
                st.integers(0, 5),
                names,
            ),
            max_size=3,
        )
    )
    heading = draw(st.sampled_from(HEADINGS) | ANY_TEXT)
    return jobs, cells, heading, draw(st.booleans())


def renamed(tables, naming):
    """Return the firm's tables with new names; openings and materials follow only if asked."""
    jobs, cells, heading, follow = naming
    ids = {f"J{place:02d}": name for place, name in jobs.items()}
    for name, rows in tables.items():
        for row in rows if follow or name == "jobs" else []:
            row["job_id"] = ids.get(row["job_id"], row["job_id"])
    for (table, column), place, text in cells:
        tables[table][place][column] = text
    if heading not in tables["jobs"][0]:
        for row in tables["jobs"]:
            row[heading] = row.pop("Site")
    return tables
