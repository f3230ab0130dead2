"""A cut is one entry: invented cuts go through reading, model, prices, files, pictures and words.

The notebooks' cells are run here, in this process: a run by papermill has a process of its own,
which does not know of a cut that is added while the tests run.
"""

import ast
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import airstats.__main__
from airstats.analysis.overrun_split import each_cause, overrun_table, split_overrun
from airstats.backtests.rolling import backtest
from airstats.base.atomic_files import own_digest
from airstats.base.errors import AirstatsError, AllowancesError
from airstats.catalog.cut_patterns import CUTS, CutFormulas, CutPattern, Guess, Way
from airstats.documents.price_workbook.workbook import price_sheet
from airstats.documents.wall_card import allowance_card
from airstats.geometry.cutting_rules import cut_lined
from airstats.geometry.outlines import centre_pieces
from airstats.geometry.slit_cut import cut_centre
from airstats.model.allowances import load_allowances
from airstats.model.quarterly_update import calibrate
from airstats.pricing.cut_choice import cheapest_cut
from airstats.pricing.newsvendor import price
from airstats.records.reading import check_records, read_records
from airstats.reports.desk import open_desk
from airstats.reports.display import Picture
from airstats.reports.drawing import NO_DRAWING, describe_opening, draw_opening
from airstats.takeoff.opening_quantities import Opening, opening_pieces, opening_quantities
from tests.benchmark.every_analysis import laid_ready, run_notebook
from tests.invented import firm, save, start

FACTOR = 2.2
NOTEBOOKS_OF_CUTS = ("evidence", "price_jobs", "why_jobs_run_over", "update_allowances")


def cut_doubled(sizes, practice):
    """As lined, but two strips on every face."""
    once = cut_lined(sizes, practice)
    return replace(once, needed=2 * once.needed, pieces=2 * once.pieces)


def upright(practice):
    return replace(practice, slit="upright")


DOUBLED = CutPattern(
    name="doubled",
    words="lined with a doubled strip",
    spellings=("double strip",),
    crosses=False,
    areas=cut_doubled,
    reveal_factor=Guess(FACTOR, 0.3, "two strips on every face"),
    strokes={4: 4, 3: 4},
    flaps={4: 0, 3: 0},
    tone="#404040",
    hatch="xx",
)
STEADY = CutPattern(
    name="steady",
    words="slit upright always",
    crosses=True,
    areas=lambda sizes, practice: cut_centre(sizes, upright(practice)),
    outlines=lambda frame, practice: centre_pieces(frame, upright(practice)),
    reveal_factor=Guess(0.3, 0.25, "as the slit"),
    reuse_share=Guess(0.4, 0.3, "nobody counts it"),
    strokes={4: 3, 3: 3},
    flaps={4: 2, 3: 2},
    tone="#C0C0C0",
    hatch="oo",
)
ADDED = (DOUBLED, STEADY)
WRITTEN = ("Double Strip", "steady", "centre", "doubled")


def records_of(jobs):
    """Jobs whose openings are cut in turn the four ways, with the sheet that their reveals take."""
    records = firm(jobs=jobs, frame_tape=0.1)
    cuts = np.resize(np.array(WRITTEN), jobs)
    turned = np.isin(cuts, ["Double Strip", "doubled"])
    openings = records.openings.assign(cut_pattern=cuts)
    sizes = openings["width_mm"] + openings["height_mm"]
    reveal = openings["count"] * 2 * sizes * openings["reveal_mm"] / 1e6
    area = openings["count"] * openings["width_mm"] * openings["height_mm"] / 1e6
    more = turned * ((FACTOR - 0.5) * reveal - area * 1.5 / 1.4 * 1.05).to_numpy() / 75
    used = (records.jobs["used_rolls"] + more).clip(lower=0.5).round(2)
    return replace(records, jobs=records.jobs.assign(used_rolls=used), openings=openings)


@pytest.fixture(scope="module")
def added():
    with pytest.MonkeyPatch.context() as patch:
        for cut in ADDED:
            patch.setitem(CUTS, cut.name, cut)
        yield CUTS


@pytest.fixture(scope="module")
def folder(added, tmp_path_factory):
    return save(tmp_path_factory.mktemp("firm") / "records", records_of(24))


@pytest.fixture(scope="module")
def desk(folder):
    return open_desk(folder)


def test_records_are_read_in_every_spelling(folder, tmp_path):
    found = read_records(folder).openings["cut_pattern"]
    assert found.tolist() == np.resize(["doubled", "steady", "centre", "doubled"], 24).tolist()
    wrong = records_of(4)
    wrong = replace(wrong, openings=wrong.openings.assign(cut_pattern="zigzag"))
    fault = str(check_records(save(tmp_path / "wrong", wrong))[0])
    assert "zigzag" in fault
    assert "doubled" in fault


def test_the_sheet_stops_or_crosses_as_the_entry_says(desk):
    table = desk.jobs.table.set_index("job_id")
    stopped = table["reveal_doubled_m2"] > 0
    assert stopped.sum() == 12
    assert (table["lined_opening_m2"] == table["opening_m2"].where(stopped, 0.0)).all()
    assert (table["fillable_steady_m2"] > 0).sum() == 6


def test_its_allowance_is_learnt_and_kept(desk, tmp_path):
    known = desk.now.table().loc["reveal.doubled"]
    assert known["low"] < FACTOR < known["high"]
    assert known["sd"] < 0.15
    assert set(desk.now.reuse_table().index) == {"reuse.diagonal", "reuse.centre", "reuse.steady"}
    desk.now.save(tmp_path / "a.json")
    again = load_allowances(tmp_path / "a.json")
    np.testing.assert_allclose(again.belief.mean, desk.now.belief.mean, atol=1e-8)
    assert again.notes == ()


def test_the_causes_add_up_to_the_overrun(desk):
    split = split_overrun(desk.jobs, desk.now, by="job_id", causes=each_cause())
    sums = split.groupby("group")["mean"].sum()
    over = overrun_table(desk.jobs).set_index("job_id")["overrun_rolls"]
    np.testing.assert_allclose(sums, over.loc[sums.index], atol=1e-9)
    own = split[split["cause"].eq("reveal.doubled")].set_index("group")["mean"]
    reveals = desk.jobs.table.set_index("job_id").loc[own.index, "reveal_doubled_m2"]
    factor = desk.now.table().loc["reveal.doubled", "mean"]
    assert own.sum() * 75 == pytest.approx(factor * reveals.sum(), rel=0.02)


def test_it_is_priced_and_tried_on_earlier_quarters(desk):
    orders = price(desk.jobs, desk.now)
    assert orders["order_rolls"].between(1, 40).all()
    result = backtest(desk.records)
    assert len(result.jobs) == 18
    assert np.isfinite(result.summary["mean_cost"]).all()


def test_it_is_weighed_against_the_other_cuts(desk):
    table = cheapest_cut(desk.records.openings)
    lined = opening_quantities(desk.records.openings.assign(cut_pattern="lined"))
    assert table["doubled_sheet_m2"].to_numpy() == pytest.approx(2 * lined["needed_m2"])
    assert not table["recommended_cut"].eq("doubled").any()


def test_formulas_of_an_entry_must_be_whole(desk, monkeypatch):
    short = replace(STEADY, formulas=lambda: CutFormulas([], [("joint_steady", "0")]))
    monkeypatch.setitem(CUTS, "steady", short)
    with pytest.raises(
        AirstatsError, match=r'cut "steady": its formulas lack the step fillable_st'
    ):
        price_sheet(desk.now)


def test_the_card_names_it(desk):
    page = allowance_card(desk.now)
    assert "lined with a doubled strip" in page
    assert "stops at an opening (lined, lined with a doubled strip)" in page


@pytest.fixture(scope="module")
def asked(added, tmp_path_factory):
    """What the notebooks are asked for, all of the same chain."""
    folder = tmp_path_factory.mktemp("asked")
    records, begun = save(folder / "records", records_of(12)), start(folder / "start.json")
    call = {"records": str(records), "takeoff": "", "previous": str(begun)}
    with laid_ready(call):
        yield call


def drawn_if_it_shows_the_cut(picture, *_, draw=Picture._repr_mimebundle_):
    said = f"{picture.alt} {picture.data.to_csv()}"
    return draw(picture) if re.search("doubled|steady", said) else ({"image/png": "undrawn"}, {})


@pytest.mark.parametrize("name", NOTEBOOKS_OF_CUTS)
def test_every_notebook_speaks_of_it(asked, name, monkeypatch):
    """In this process, for a kernel would not have the entry; its pictures are drawn."""
    shown = []
    monkeypatch.setattr("IPython.display.display", lambda part, **_: shown.append(part))
    monkeypatch.setattr(Picture, "_repr_mimebundle_", drawn_if_it_shows_the_cut)
    assert not list(run_notebook(name, asked))
    bundles = [part for part in shown if isinstance(part, dict)]
    assert len(shown) > 10
    assert "a doubled strip" in " ".join(map(str, shown))
    assert sum("image/png" in bundle for bundle in bundles) > 2


def test_a_cut_without_outlines_has_no_drawing(added):
    opening = Opening(1200, 1400, 350, 4, "doubled")
    assert opening_pieces(opening) is None
    assert NO_DRAWING.casefold() in describe_opening(opening)
    written = [text.get_text() for axes in draw_opening(opening).axes for text in axes.texts]
    assert any(NO_DRAWING in text and DOUBLED.words in text for text in written)


def test_outlines_of_a_crossing_cut_are_drawn(added):
    pieces = opening_pieces(Opening(1800, 1200, 250, 4, "steady"))
    assert {flap.face for flap in pieces.flaps} == {"left jamb", "right jamb"}


# --- Files written before -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def older(tmp_path_factory):
    """Allowances of a firm that knew neither cut, with a material."""
    path = tmp_path_factory.mktemp("older") / "older.json"
    kept = {cut.name: CUTS.pop(cut.name) for cut in ADDED if cut.name in CUTS}
    try:
        calibrate(firm(jobs=12, frame_tape=0.1)).save(path)
    finally:
        for name, cut in kept.items():
            CUTS[name] = cut
    return path


def test_a_cut_added_since_enters_with_its_starting_belief(older, added):
    written = json.loads(older.read_text())
    loaded = load_allowances(older)
    table = loaded.table()
    for name, row in written["allowances"].items():
        assert table.loc[name, "mean"] == pytest.approx(row["mean"], abs=1e-9)
        assert table.loc[name, "sd"] == pytest.approx(row["sd"], abs=1e-9)
    assert table.loc["reveal.doubled", ["mean", "sd"]].tolist() == pytest.approx([FACTOR, 0.3])
    assert loaded.reuse_table().loc["reuse.steady", "mean"] == pytest.approx(0.4)
    assert loaded.crew_table()["mean"].tolist() == pytest.approx(
        [row["mean"] for row in written["crews"].values()]
    )
    assert [note.split('"')[1] for note in loaded.notes] == ["doubled", "steady"]
    assert loaded.belief.prior.reveal_factors[3:] == ((FACTOR, 0.3), (0.3, 0.25))


def test_the_next_quarter_goes_on_from_an_older_file(older, folder, tmp_path, capsys):
    out = tmp_path / "now.json"
    asked = ["calibrate", str(folder), "--previous", str(older), "--out", str(out)]
    assert airstats.__main__.main([*asked, "--quarter", "2025Q4"]) == 0
    told = capsys.readouterr()
    assert 'The cut "doubled" is new since the last allowances file' in told.out + told.err
    now = load_allowances(out)
    assert now.notes == ()
    assert "reveal.doubled" in now.table().index
    assert airstats.material_table(now).loc["frame tape", "mean"] == pytest.approx(
        json.loads(older.read_text())["materials"]["frame tape"]["mean"], abs=0.05
    )


def test_a_file_with_a_cut_that_is_not_known_is_refused(desk, tmp_path, monkeypatch):
    desk.now.save(tmp_path / "a.json")
    monkeypatch.delitem(CUTS, "doubled")
    with pytest.raises(
        AllowancesError, match=r'a\.json: .* cut "doubled", which is not known here'
    ):
        load_allowances(tmp_path / "a.json")


def test_a_file_whose_cut_is_believed_otherwise_is_refused(desk, tmp_path, monkeypatch):
    desk.now.save(tmp_path / "a.json")
    monkeypatch.setitem(CUTS, "steady", replace(STEADY, reuse_share=None))
    with pytest.raises(AllowancesError, match=r'its cut "steady" has a re-use share; give that'):
        load_allowances(tmp_path / "a.json")


def test_an_older_file_that_is_damaged_is_still_refused(older, added, tmp_path):
    content = json.loads(older.read_text())
    del content["candidates"][0]["mean"][0]
    content["digest"] = own_digest(content)
    (tmp_path / "bad.json").write_text(json.dumps(content))
    with pytest.raises(AllowancesError, match=r"bad\.json: damaged"):
        load_allowances(tmp_path / "bad.json")


# --- Wrong entries ------------------------------------------------------------------------------

WRONG = [
    ({"name": "Two words"}, "name: write small letters"),
    ({"words": ""}, "words: say"),
    ({"words": "slit, twice"}, "words: say"),
    ({"reveal_factor": Guess(1.0, 0.0, "sure")}, "reveal_factor, reuse_share: give a mean, a sd"),
    ({"reveal_factor": Guess(1.0, 0.2, "")}, "the reason"),
    ({"reuse_share": Guess(0.5, 0.3, "why")}, "there are no off-cuts"),
    ({"strokes": {4: 4}}, "strokes, flaps: give a count for 3 and for 4"),
    ({"ways": {"level": Way("level", {4: 1})}}, "strokes, flaps"),
]


@pytest.mark.parametrize(("change", "said"), WRONG)
def test_a_wrong_entry_is_refused_in_plain_words(change, said):
    with pytest.raises(AirstatsError, match=said):
        replace(DOUBLED, **change)


def test_an_incomplete_entry_is_refused():
    with pytest.raises(TypeError, match="strokes"):
        CutPattern(name="half")


def test_an_entry_under_another_name_or_spelling_is_refused():
    with pytest.raises(AirstatsError, match='enter it under its own name, not "other"'):
        CUTS["other"] = DOUBLED
    with pytest.raises(AirstatsError, match='"center" is the cut "centre" already'):
        CUTS["doubled"] = replace(DOUBLED, spellings=("center",))
    assert set(CUTS) >= {"diagonal", "centre", "lined"}


@pytest.mark.parametrize("field", ["needed", "joint", "pieces"])
def test_areas_that_give_no_number_are_refused(monkeypatch, field):
    bad = replace(
        DOUBLED, areas=lambda s, p: replace(cut_doubled(s, p), **{field: s.width * np.nan})
    )
    monkeypatch.setitem(CUTS, "doubled", bad)
    opening = pd.DataFrame(
        {"width_mm": [900.0], "height_mm": [900.0], "reveal_mm": [200.0], "sides": [4]}
    )
    with pytest.raises(AirstatsError, match=f'the cut "doubled": its areas give no `{field}`'):
        opening_quantities(opening.assign(cut_pattern="doubled"))


def test_formulas_are_there_where_an_entry_names_them():
    for cut in CUTS.values():
        assert cut.formulas is None or isinstance(cut.formulas(), CutFormulas)


def test_no_module_names_a_cut_but_the_entries():
    """Apart from the default of a form's first opening, and geometry called by its own name."""
    package = Path(airstats.__main__.__file__).parent
    allowed = {"cut_patterns.py", "typed_job.py", "opening_quantities.py"}
    for path in package.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if path.name in allowed or not re.search("diagonal|centre|lined", text):
            continue
        named = {n.value for n in ast.walk(ast.parse(text)) if isinstance(n, ast.Constant)}
        assert not named & {"diagonal", "centre", "lined"}, path.name
