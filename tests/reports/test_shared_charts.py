import numpy as np
import pandas as pd

from airstats.reports.column_headings import HEADINGS
from airstats.reports.display import Table, Words, show_table
from airstats.reports.house_style import ACCENT, LIGHT, MID


def test_colours_differ_in_grey():
    from matplotlib.colors import to_rgb

    weights = np.array([0.2126, 0.7152, 0.0722])
    tones = sorted(weights @ to_rgb(c) for c in (ACCENT, MID, LIGHT))
    assert np.diff(tones).min() > 0.12


def test_a_table_has_scopes_caption_and_units_the_same_on_every_run(desk):
    html = show_table(desk.jobs.table, "Jobs", "job_id laid_m2")._repr_html_()
    assert html.count('<th scope="col"') == 2
    assert "<caption>Jobs</caption>" in html
    assert "laid, m²" in html
    shown = [show_table(desk.jobs.table, "Jobs", "job_id crew") for _ in range(2)]
    assert shown[0]._repr_html_() == shown[1]._repr_html_()
    assert "0x" not in repr(shown[0])


def test_missing_cells_are_dashes_text_is_escaped_and_nothing_is_a_sentence():
    frame = pd.DataFrame({"job_id": ["<b>A</b>"], "saving": [np.nan]})
    html = Table(frame, "Jobs")._repr_html_()
    assert "&lt;b&gt;A&lt;/b&gt;" in html
    assert "–" in html
    shown = show_table(pd.DataFrame({"job_id": []}), "Records that are probably wrong")
    assert isinstance(shown, Words)
    assert shown.text == "Records that are probably wrong: none."


def test_headings_of_money_rolls_and_areas_name_their_unit():
    for name, (heading, _) in HEADINGS.items():
        for unit, word in (("_rolls", "rolls"), ("_mm", "mm"), ("_m2", "m²")):
            if name.endswith(unit):
                assert word in heading, name
