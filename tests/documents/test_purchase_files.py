import io
import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook

from airstats import buying_list, calibrate, price_materials
from airstats.__main__ import main
from airstats.base.caution import CAUTION
from airstats.base.firm import Firm
from airstats.cli.shared import list_to_buy
from airstats.documents.purchase_files import buying_page, buying_workbook
from airstats.pricing.newsvendor import priced
from airstats.pricing.pooled_order import pooled_orders
from airstats.reports.buying_text import headline, unlearnt
from airstats.takeoff.sheet_quantities import take_off
from tests.invented import firm, naming, save

BARE = firm(6, seed=8)
AHEAD = naming(BARE, "joint tape")
JOBS = [f"J00{n}" for n in range(6)]


@pytest.fixture(scope="module")
def known():
    return calibrate(firm(24, frame_tape=0.25, corner_pieces=0.10))


@pytest.fixture(scope="module")
def bought(known):
    return buying_list(AHEAD, known)


def test_list_has_a_row_a_material_that_shares_the_jobs_risk(bought):
    assert bought["material"].tolist() == ["sheet", "joint tape", "frame tape", "corner pieces"]
    assert bought["jobs"].eq(6).all()
    known = bought["pack_price"].notna()
    assert known.tolist() == [True, False, True, True]
    assert bought.loc[known, "order_money"].tolist() == pytest.approx(
        (bought["order_packs"] * bought["pack_price"])[known].tolist()
    )
    assert (bought["left_over_money"][known] <= bought["order_money"][known]).all()
    assert (bought["order_packs"] <= bought["packs_job_by_job"]).all()
    assert bought["packs_job_by_job"].sum() - bought["order_packs"].sum() >= 4
    assert (bought["chance_short"] <= 0.2).all()
    assert (bought["low_packs"] < bought["high_packs"]).all()


def test_sheet_is_pooled_as_for_the_rolls_alone(bought, known):
    alone = pooled_orders(priced(take_off(AHEAD), known, 60.0, 240.0)).iloc[0]
    sheet = bought.iloc[0]
    for ours, theirs in [
        ("order_packs", "pooled_rolls"),
        ("packs_job_by_job", "single_rolls"),
        ("chance_short", "chance_short"),
    ]:
        assert sheet[ours] == alone[theirs]
    assert sheet["low_packs"] <= sheet["order_packs"]


def test_list_of_one_job_is_that_job_s_order(known):
    one = replace(AHEAD, jobs=AHEAD.jobs.iloc[:1], openings=AHEAD.openings.iloc[:1])
    orders = price_materials(one, known)
    bought = buying_list(one, known)
    assert bought["order_packs"].tolist() == orders["order_packs"].tolist()
    assert bought["expected"].tolist() == pytest.approx(orders["expected"].tolist())
    # Drawn cases: good to a point.
    assert bought["chance_short"].tolist() == pytest.approx(
        orders["chance_short"].tolist(), abs=0.01
    )


def test_packs_of_two_sizes_are_two_rows(known):
    jobs = AHEAD.jobs.assign(roll_length_m=[25.0, 25.0, 50.0, 50.0, 50.0, 50.0])
    sheet = buying_list(replace(AHEAD, jobs=jobs), known).query("material == 'sheet'")
    assert sheet["pack"].tolist() == [37.5, 75.0]
    assert sheet["jobs"].tolist() == [2, 4]


def test_headline_changes_with_the_data_and_owns_up_to_the_prior(bought, known):
    text = headline(bought, JOBS)
    assert text.startswith(f"For 6 jobs buy {bought['order_packs'].iloc[0]} rolls of sheet, ")
    assert f"{bought['order_money'].sum():,.0f}" in text
    assert "no price is known for joint tape" in text
    shelf = headline(bought.assign(from_stock_packs=2), JOBS)
    assert re.search(r"They cost [^.]*unopened\. The shelf gives 2 rolls of sheet, .*", shelf)
    unpriced = bought.assign(order_money=np.nan)
    assert headline(unpriced, JOBS[:1]).endswith("No pack price is known.")
    assert headline(unpriced, JOBS[:1]).startswith("For 1 job buy")
    assert unlearnt(bought).startswith("No finished job has taught anything about joint tape yet")
    assert unlearnt(bought[bought["jobs_counted"] > 0]) == ""


class Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.outside, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.outside += [v for k, v in attrs if k in ("src", "href")]

    def handle_data(self, data):
        self.text.append(data)


def test_page_stands_alone_and_escapes_what_records_hold(bought):
    page = buying_page(bought, ["<b>J1</b>", "J2"], "2025Q4")
    reader = Reader()
    reader.feed(page)
    text = " ".join(reader.text)
    assert not reader.outside
    assert not {"script", "link", "img", "b"} & set(reader.tags)
    assert "url(" not in page
    assert CAUTION in text
    assert "Allowances of 2025Q4" in text
    assert reader.tags.count("tr") == len(bought) + 1
    for packs in bought["order_packs"]:
        assert f"<td>{packs}</td>" in page


def test_workbook_holds_title_lines_to_fill_jobs_numbers_and_notes(bought):
    book = load_workbook(io.BytesIO(buying_workbook(bought, JOBS, "2025Q4")))
    assert book.sheetnames == ["buying list"]
    sheet = book["buying list"]
    rows = list(sheet.iter_rows(values_only=True))
    assert [row[0] for row in rows[:4]] == ["Buying list", "▸ Date", "▸ Supplier", "▸ Deliver to"]
    assert [sheet[f"B{row}"].value for row in (2, 3, 4)] == [None] * 3
    assert rows[4][:2] == ("For the jobs", ", ".join(JOBS))
    head = next(place for place, row in enumerate(rows) if row[0] == "material")
    table = rows[head + 1 : head + 1 + len(bought)]
    assert [row[1] for row in table] == bought["order_packs"].tolist()
    money = rows[head].index("together, money")
    assert table[1][money] is None
    assert rows[head + 1 + len(bought)][money] == pytest.approx(bought["order_money"].sum())
    notes = [row[0] for row in rows if row[0]]
    assert headline(bought, JOBS) in notes
    assert "Allowances of 2025Q4." in notes
    assert notes[-1] == CAUTION


@pytest.mark.skipif(not shutil.which("soffice"), reason="soffice is not installed")
def test_workbook_prints_on_one_sheet_of_a4(bought, tmp_path):
    pypdf = pytest.importorskip("pypdf")
    many = pd.concat([bought] * 4, ignore_index=True)
    jobs = [f"A job with a long name {n}" for n in range(40)]
    (tmp_path / "b.xlsx").write_bytes(buying_workbook(many, jobs, "2025Q4"))
    command = ["soffice", "--headless", f"-env:UserInstallation={(tmp_path / 'home').as_uri()}",
               "--convert-to", "pdf", "--outdir", str(tmp_path),
               str(tmp_path / "b.xlsx")]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    (page,) = pypdf.PdfReader(tmp_path / "b.pdf").pages
    said = page.extract_text()
    for words in ("Buying list", "Supplier", "name 39", "local codes"):
        assert words in said
    size = [float(side) / 72 * 25.4 for side in page.mediabox[2:]]
    assert size == pytest.approx([297, 210], abs=1)


@pytest.fixture(scope="module")
def folder(tmp_path_factory, known):
    place = tmp_path_factory.mktemp("firm")
    known.save(place / "a.json")
    finished = ["finished_on", "estimated_rolls", "used_rolls", "counted"]
    jobs = pd.read_csv(save(place / "next", AHEAD) / "jobs.csv").drop(columns=finished)
    jobs.to_csv(place / "next" / "jobs.csv", index=False)
    return place


def run(folder, *options):
    where = ["price", str(folder / "next"), "--allowances", str(folder / "a.json")]
    return main([*where, "--out", str(folder / "o.csv"), *options])


def test_price_with_materials_and_a_buying_list(folder, bought, capsys):
    assert run(folder, "--materials", "--buying-list", str(folder / "list")) == 0
    said = capsys.readouterr().out
    assert re.search(r"J000, frame tape: order \d+ packs of 25 m; \d+ m \(80 %", said)
    assert re.search(r"J000, corner pieces: order \d+ packs of 5 pieces; \d+ pieces", said)
    assert "priced from the starting belief, no records yet" in said
    orders = pd.read_csv(folder / "o.csv")
    assert list(orders)[:2] == ["job_id", "material"]
    assert len(orders) == 24
    written = pd.read_csv(folder / "list" / "buying_list.csv")
    assert written["order_packs"].tolist() == bought["order_packs"].tolist()
    assert written["expected"].astype(str).str.len().max() <= 6
    assert written["left_over_money"].round(2).equals(written["left_over_money"])
    assert {p.name for p in (folder / "list").iterdir()} == {
        "buying_list.csv", "buying_list.xlsx", "buying_list.html", "written_by_airstats.txt",
        "stock_afterwards.csv",
    }  # fmt: skip


def test_a_material_without_records_is_left_out_until_the_jobs_name_it(folder, tmp_path, capsys):
    jobs = tmp_path / "jobs"
    shutil.copytree(folder / "next", jobs)
    call = ["price", str(jobs), "--allowances", str(folder / "a.json"), "--materials"]
    call += ["--out", str(tmp_path / "o.csv"), "--buying-list", str(tmp_path / "list")]
    (jobs / "materials.csv").unlink()
    assert main(call) == 0
    said = "Not priced: joint tape. No record tells of it"
    assert said in capsys.readouterr().out
    assert said in (tmp_path / "list" / "buying_list.html").read_text(encoding="utf-8")
    (sheet,) = load_workbook(tmp_path / "list" / "buying_list.xlsx")
    assert any(str(row[0]).startswith(said) for row in sheet.iter_rows(values_only=True))
    assert "joint tape" not in pd.read_csv(tmp_path / "o.csv")["material"].tolist()
    (jobs / "materials.csv").write_text("job_id,material\nJ000,joint tape\n")
    assert main(call) == 0
    assert "Not priced" not in capsys.readouterr().out
    assert pd.read_csv(tmp_path / "o.csv")["material"].eq("joint tape").sum() == 6


def test_what_price_and_calibrate_say_of_materials(folder, capsys, tmp_path):
    assert run(folder) == 0
    assert "tape" not in capsys.readouterr().out
    assert list(pd.read_csv(folder / "o.csv")) == [
        "job_id", "expected_m2", "low_m2", "high_m2", "rolls_p50", "rolls_p80", "rolls_p95",
        "order_rolls", "chance_short", "expected_left_over_rolls", "from_stock_rolls", "buy_rolls",
        "unmeasured", "width_if_measured_m2", "from_stock_m", "expected_left_on_last_m",
        "sheet_cost", "cost_a_m2", "all_in_percent",
    ]  # fmt: skip
    past = save(tmp_path / "past", firm(12, frame_tape=0.2))
    assert main(["calibrate", str(past), "--out", str(tmp_path / "a.json")]) == 0
    said = r"frame tape +0\.\d{3} m a m counted \(90 %: 0\.\d{3} to 0\.\d{3}\)"
    assert re.search(said, capsys.readouterr().out)


def test_a_firm_without_other_materials_gets_a_list_of_the_sheet_alone(tmp_path, known):
    dear = Firm(leftover_cost=60.0, short_cost=240.0)
    bare = replace(known, materials={})
    said, files = list_to_buy(dear, BARE, bare, tmp_path)
    bought = pd.read_csv(io.StringIO(files[tmp_path / "buying_list.csv"]))
    assert bought["material"].tolist() == ["sheet"]
    assert re.match(r"For 6 jobs buy \d+ rolls of sheet", said)
    assert "Not priced: joint tape, frame tape and corner pieces." in said


def test_every_part_of_the_list_tells_of_begun_rolls_and_not_priced_materials(tmp_path, known):
    begun = pd.DataFrame({"roll_width_m": [1.5], "roll_length_m": [50.0], "left_m": [41.0]})
    takeoff = replace(BARE, stock=begun.assign(rolls=0))
    said, files = list_to_buy(Firm(), takeoff, replace(known, materials={}), tmp_path)
    cells = load_workbook(io.BytesIO(files[tmp_path / "buying_list.xlsx"])).active.iter_rows(
        values_only=True
    )
    texts = [str(cell) for row in cells for cell in row if cell]
    for told in (files[tmp_path / "buying_list.html"], "\n".join(texts)):
        assert re.search(r"begun rolls on the shelf J00\d takes the one of 41 m", told)
        assert "Not priced: joint tape, frame tape and corner pieces." in told
        assert "`" not in told
    assert "`" not in said


def test_money_is_in_the_firms_currency_and_shares_are_written_as_on_every_page(bought):
    page = buying_page(bought.assign(currency="EUR"), JOBS, "2026Q3").partition("<body>")[2]
    assert "together, EUR" in page
    assert "money<" not in page
    assert not re.search(r"\d%", page)
    assert re.search(r"<td>\d+\.\d %</td>", page)


def test_the_sum_in_the_headline_is_that_of_the_rows_as_printed_on_page_and_workbook(bought):
    half = bought.assign(order_money=[3772.0, 1642.5, 850.5, 774.2], left_over_money=0.4)
    half = half.assign(currency="EUR")
    assert "They cost 7,039 EUR" in headline(half, JOBS)
    page = buying_page(half, JOBS, "2026Q3")
    assert re.findall(r"<td>([\d,]+\.\d\d)</td><td>0</td></tr>", page) == [
        "3,772.00", "1,642.50", "850.50", "774.20",
    ]  # fmt: skip
    sheet = load_workbook(io.BytesIO(buying_workbook(half, JOBS, "2026Q3"))).active
    (whole,) = (cell for row in sheet.iter_rows() for cell in row if cell.value == 7039.2)
    assert whole.number_format == sheet.cell(whole.row - 1, whole.column).number_format
    assert whole.number_format.endswith("0.00")


def test_page_workbook_and_csv_tell_the_same_use(tmp_path, known):
    _, files = list_to_buy(Firm(), AHEAD, known, tmp_path)
    told = pd.read_csv(io.StringIO(files[tmp_path / "buying_list.csv"]))["expected"].tolist()
    sheet = load_workbook(io.BytesIO(files[tmp_path / "buying_list.xlsx"])).active
    rows = list(sheet.iter_rows(values_only=True))
    head = next(row for row in rows if row[0] == "material")
    place = rows.index(head) + 1
    used = head.index("used on average")
    assert [row[used] for row in rows[place : place + len(told)]] == told
    page = files[tmp_path / "buying_list.html"]
    assert all(f"<td>{use:,.0f}</td>" in page for use in told)


def test_the_box_to_tick_stands_before_all_else_so_that_a_telephone_shows_it(bought):
    page = buying_page(bought, JOBS, "2026Q3")
    assert page.count('<tr><td><span class="tick"></span></td><th scope="row">') == len(bought)
    assert '<tr><th scope="col">bought</th><th scope="col">material</th>' in page
