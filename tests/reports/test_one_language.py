import re
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
import pandas as pd
import pytest

from airstats.documents.run_notebooks import NOTEBOOKS
from airstats.reports.display import Picture, Words
from tests.benchmark.every_analysis import laid_ready, run_notebook
from tests.invented import change, counted_whole, invent, save
from tests.reports.read_pages import Text, broken_in, of_html, read, rules_for

SAMPLE = Path(__file__).parents[2] / "reports" / "2026Q3"

BROKEN = [
    ("waste, reveal.diagonal and slit held", "code name"),
    ("the cut centre is usual", "code name"),
    ("laid_m2 changes sign", "code name"),
    ("it moved by nan m²", "a word of the language it is written in"),
    ("set aside: False", "a word of the language it is written in"),
    ("it fell by -3 rolls", "minus"),
    ("it fell by −0.0 rolls", "minus"),
    ("waste is 6.1% of it", "per cent"),
    ("12521 EUR in all", "thousands"),
    ("0.45 ± 0.15 sd", "± of another meaning"),
    ("12 job ran over", "one and many"),
    ("pulled by 1 jobs", "one and many"),
    ("none of the 1 new job decides", "one and many"),
    ("the pull towards nothing (Fuller 1987)", "author outside the references"),
    ("slit down the middle", "a name that is no longer used"),
    ("cut at the open…", "cut short"),
    ("the price held 19 ± 5 for it", "number without unit"),
    ("over by 8,590 at your prices", "number without unit"),
    ("chance would make about 0.8 depart", "number without unit"),
    ("the flat share did worse, and 240 came of it", "number without unit"),
    ("crew Alder +0.0", "minus"),
]
FINE = [
    "Crews: Alder used −0.8 ± 2.1 % (12 jobs) and 1,250 EUR; the new value held.",
    "A m² of reveal took 0.45 ± 0.25 (corner to corner) and 1.03 ± 0.30 (lined) m² of sheet.",
    "In rolls: reveals 43 ± 15 and waste 32 ± 18; 1 job of 2026Q3 (H104) decides.",
    "True refits were made. None is taken out; nothing moved by more than 0.0 m².",
    'Write "roll_price" into firm.toml; all rows stand in data/price_jobs-rolls.csv.',
    "Sheet = laid area × (1 + waste); the correlation is −0.67 (sha256:00a4…).",
    "Cheaper at 2 : 1 and 4 : 1; the starting belief (sd): waste 0.08 (0.05) m² a m² laid.",
    "a share 0.5 (0.3) and 0.5 (0.3) of the off-cuts; J007 (0.38, far from the line) stands out.",
    "Foretold to run short: 0.1 of 9 orders (chance: 0 to 1); 1 order did.",
]


@pytest.mark.parametrize(("words", "rule"), BROKEN)
def test_what_no_reader_should_meet_is_named(words, rule):
    text = Text("page.html", "sentence", words)
    assert rule in {name for name, broken in rules_for("EUR").items() if list(broken(text))}


@pytest.mark.parametrize("words", FINE)
def test_plain_words_are_left_in_peace(words):
    text = Text("page.html", "sentence", words)
    assert {
        name: found for name, own in rules_for("EUR").items() if (found := list(own(text)))
    } == {}


def test_a_cell_has_its_unit_from_heading_caption_or_row():
    page = (
        "<h1>T</h1><table><caption>Waste</caption><tr><th>crew</th><th>over, rolls</th><th>raw</th>"
        "</tr><tr><td>Alder</td><td>+2</td><td>0.3</td></tr></table>"
    )
    rule = rules_for("")["number without unit"]
    assert [text.text for text in of_html("x.html", page) if list(rule(text))] == ["0.3"]


def test_a_firm_without_currency_may_have_bare_sums_and_no_other_numbers():
    rule = rules_for("")["number without unit"]
    for words in ("One roll fewer would cost 237 more.", "In 2025Q4: 2 rolls over, worth 31."):
        assert not list(rule(Text("page.html", "sentence", words)))
    assert list(rule(Text("page.html", "sentence", "It fell by 240 in the end.")))


def test_a_folder_without_pages_is_not_called_clean(tmp_path):
    with pytest.raises(FileNotFoundError, match="no page in"):
        read(tmp_path)


def test_the_sample_reports_speak_one_language():
    assert read(SAMPLE) == []


def three_jobs():
    """Whole rolls, and neither crew, price nor way of counting."""
    records = counted_whole(invent(jobs=3, quarters=1), "estimated_rolls")
    return change(records, crew="", roll_price=np.nan, counted="")


def one_new_job():
    """A second quarter of one job; of every second job the openings are unknown."""
    records = counted_whole(invent(jobs=13, quarters=1), "estimated_rolls")
    late = records.jobs.index == 12
    days = records.jobs["finished_on"].mask(late, pd.Timestamp("2025-05-15"))
    return replace(change(records, finished_on=days), openings=records.openings.iloc[::2])


def page_of(name):
    """What a notebook tells, as a page: its sentences and tables, without its pictures."""
    with (
        mock.patch("IPython.display.display") as told,
        mock.patch.object(Picture, "_repr_mimebundle_", return_value=({}, {})),
    ):
        assert list(run_notebook(name, {})) == []
    parts = [call.args[0] for call in told.call_args_list]
    return "\n".join(
        _paragraphs(part.text) if isinstance(part, Words) else part.get("text/html", "")
        for part in parts
    )


def _paragraphs(words):
    words = re.sub("`([^`]*)`", r"<code>\1</code>", words.replace("*", ""))
    # Headings, and the references that are numbered, stand apart.
    lines = (line.strip("- ") for line in words.splitlines() if not re.match(r"#|\d+\. ", line))
    return "".join(f"<p>{line}</p>" for line in lines)


def test_the_pages_of_small_firms_speak_it_too(tmp_path, coarse):
    for firm, records in {"three": three_jobs(), "one": one_new_job()}.items():
        with laid_ready({"records": str(save(tmp_path / firm, records))}):
            pages = {name: page_of(name) for name in NOTEBOOKS}
        for name, page in pages.items():
            assert page.count("<p>") > 3
            texts = list(of_html(f"{name}.html", page))
            assert [str(one) for one in broken_in(texts, "")] == []
            assert not any(re.search(r"\binf\b|0\.000 ± 0\.000", text.text) for text in texts)
