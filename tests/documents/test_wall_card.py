"""The card: its numbers, its hand rule, and that it prints on one sheet of A4."""

import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from airstats import price_materials
from airstats.documents.wall_card import EXAMPLE, allowance_card, hand_rule, printed_means
from airstats.model.allowances import material_table, unchanged
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import predict
from airstats.takeoff.typed_job import OneJob, one_job, one_record
from tests.invented import invent, with_materials_of

RECORDS = invent(jobs=24, crew_extra=0.2)
LEARNT = calibrate(RECORDS)
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def text_of(page):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def points(row):
    """Mean and interval as the card prints them: in hundredths, with their signs."""
    mean, low, high = (
        f"{row[key] * 100:+.1f}".replace("-", "−") for key in ("mean", "low", "high")
    )
    return f"{mean} {low} to {high}"


def test_the_factors_and_crews_stand_with_their_numbers():
    said = text_of(allowance_card(LEARNT))
    for name, row in LEARNT.table().iterrows():
        digits = 3 if name == "waste" else 2
        numbers = [f"{row[key]:.{digits}f}".replace("-", "−") for key in ("mean", "low", "high")]
        assert f"{numbers[0]} {numbers[1]} to {numbers[2]}" in said
    assert f"Allowances of {LEARNT.quarter}" in said
    assert "24 finished jobs" in said
    assert "We count material" in said
    said = text_of(allowance_card(LEARNT))
    for crew, row in LEARNT.crew_table().iterrows():
        assert f"{crew} {points(row)} {row['jobs']:.0f} " in said
    assert "Add to waste" not in text_of(allowance_card(unchanged("2026Q1")))


def test_the_worked_line_agrees_with_a_pencil():
    means = LEARNT.table()["mean"].round(2).to_dict()
    waste = round(float(LEARNT.table().loc["waste", "mean"]), 3)
    rule, said = hand_rule(EXAMPLE, LEARNT), text_of(allowance_card(LEARNT))
    assert printed_means(LEARNT) == pytest.approx(means | {"waste": waste})
    laid, reveal = 200 * 1.5 / 1.4, 12 * 2 * (1.2 + 1.4) * 0.35
    sheet = laid * (1 + waste) + reveal * means["reveal.centre"]
    need = predict(one_job(EXAMPLE), LEARNT)
    share = round(float(need.quantile(0.8)[0] - need.mean()[0]) / laid, 3)
    assert (rule.sheet_m2, rule.margin_m2) == pytest.approx((sheet, share * laid))
    assert rule.rolls == int(np.ceil((sheet + share * laid) / 75))
    assert f"200 m² × 1.5 ÷ (1.5 − 0.1) {laid:.1f} m²" in said
    assert f"{laid:.1f} m² × {waste:.3f} {laid * waste:.1f} m²" in said
    assert f"12 × 2 × (1.2 + 1.4) m × 0.35 m {reveal:.1f} m²" in said
    factor = means["reveal.centre"]
    assert f"{reveal:.1f} m² × {factor:.2f} (centre) {reveal * factor:.1f} m²" in said
    assert f"laid + waste + reveals {sheet:.1f} m²" in said
    assert f"{laid:.1f} m² laid × {share:.3f} {share * laid:.1f} m²" in said
    assert f"({sheet:.1f} + {share * laid:.1f}) ÷ 75 m², rounded up {rule.rolls} rolls" in said


def test_the_hand_rule_orders_as_the_full_model_or_one_roll_beside_it():
    rng, apart = np.random.default_rng(2), []
    margin = hand_rule(EXAMPLE, LEARNT).margin_share
    for _ in range(40):
        job = OneJob(
            surface_m2=rng.uniform(150, 450),
            count=int(rng.integers(6, 20)),
            reveal_mm=rng.uniform(150, 450),
            cut_pattern=str(rng.choice(["diagonal", "centre"])),
        )
        rule = hand_rule(job, LEARNT, margin_share=margin)
        apart.append(rule.rolls - rule.order_rolls)
    assert max(map(abs, apart)) <= 1
    assert np.mean(np.array(apart) == 0) > 0.75


def test_the_margin_follows_the_costs():
    dear, cheap = (hand_rule(EXAMPLE, LEARNT, 60, short) for short in (2400, 90))
    assert dear.margin_m2 > cheap.margin_m2 >= 0
    assert "98 of 100 jobs" in text_of(allowance_card(LEARNT, 60, 2400))


def test_a_decision_is_told_with_reason_and_initials():
    noted = {"decision": "keep", "reason": "a <b>roll</b> was lent", "by": "AB"}
    page = allowance_card(replace(LEARNT, decision=noted))
    assert "The values before were kept (AB): a &lt;b&gt;roll&lt;/b&gt; was lent." in page
    assert "No decision is noted" in allowance_card(replace(LEARNT, decision={}))
    assert not re.search(r"<script|https?://|url\(|@import|src=|<link", page)
    assert '<html lang="en">' in page
    assert all("scope=" in cell for cell in re.findall(r"<th\b[^>]*>", page))


def crowded():
    """A firm with more crews than the card can hold, with long names, and a long reason."""
    records = invent(jobs=48)
    names = [f"Crew of the long name number {n} {'x' * 40}" for n in range(12)]
    records.jobs["crew"] = np.array(names)[np.arange(48) % 12]
    noted = {"decision": "accept", "reason": "word " * 100, "by": "AB"}
    records = with_materials_of(records, 0.1, "joint tape", "frame tape", "corner pieces")
    return replace(calibrate(records), decision=noted)


def test_the_other_materials_stand_with_the_packs_of_the_example():
    allowances = crowded()
    said = text_of(allowance_card(allowances))
    priced = price_materials(one_record(EXAMPLE), allowances).set_index("material")
    for name in ("joint tape", "frame tape", "corner pieces"):
        unit = "pieces" if name == "corner pieces" else "m"
        row = priced.loc[name]
        assert f"{row['order_packs']} packs of {row['pack']:g} {unit}" in said
        known = material_table(allowances).loc[name]
        assert f"{name} {points(known)} " in said
        counted = f"{row['expected'] / (1 + known['mean']):.0f} {unit}"
        assert (
            f" = {counted} {counted} × {1 + known['mean']:.2f} = {row['expected']:.0f} {unit}"
            in said
        )
    # 12 windows of 1.2 x 1.4 m, 2 in 100 taped beforehand: sides and corners, by pencil.
    assert f"12 × 2 × (1.2 + 1.4) m × 0.98 = {12 * 2 * 2.6 * 0.98:.0f} m" in said
    assert f"12 × 4 × 0.98 = {12 * 4 * 0.98:.0f} pieces" in said
    assert re.search(r"courses \d+ \+ ends of rolls \d+ \+ pieces \d+ = \d+ m", said)
    assert "other materials" not in text_of(allowance_card(LEARNT))


@pytest.mark.skipif(not CHROMIUM, reason="no chromium is installed (apt-get install chromium)")
def test_it_prints_on_one_sheet_of_a4(tmp_path):
    pypdf = pytest.importorskip("pypdf")
    for name, allowances in (("usual", LEARNT), ("crowded", crowded())):
        (tmp_path / f"{name}.html").write_text(allowance_card(allowances), encoding="utf-8")
        command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu",
                   f"--user-data-dir={tmp_path / 'profile'}", "--no-pdf-header-footer",
                   f"--print-to-pdf={tmp_path / name}.pdf",
                   (tmp_path / f"{name}.html").as_uri()]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=60)
        pages = pypdf.PdfReader(tmp_path / f"{name}.pdf").pages
        assert len(pages) == 1
        size = [float(side) / 72 * 25.4 for side in pages[0].mediabox[2:]]
        assert size == pytest.approx([210, 297], abs=1)
