"""The allowances and their file: what it holds, that it comes back, and that damage is seen."""

import copy
import hashlib
import json
import os
import re
from dataclasses import replace
from functools import cache, reduce

import numpy as np
import pandas as pd
import pytest

from airstats.base.atomic_files import own_digest, write_whole
from airstats.base.errors import AirstatsError, AllowancesError
from airstats.model.allowances import FORMAT, INTERVAL, load_allowances, unchanged
from airstats.model.posterior import FORMS
from airstats.model.quarterly_update import calibrate, carried_forward
from airstats.pricing.newsvendor import price
from tests.benchmark.worlds import World, invent_firm
from tests.invented import FEW, same_belief

FIRM = invent_firm(World("small", jobs=16, quarters=2, gross_share=0.1), 4)
NAMES = ["waste", "reveal.diagonal", "reveal.centre", "reveal.lined"]


@cache
def learnt():
    """What the records teach."""
    return calibrate(FIRM.records, prior=FEW)


@pytest.fixture
def saved(tmp_path):
    path = tmp_path / "2023Q2.json"
    learnt().save(path)
    return path


def content(path):
    return json.loads(path.read_text(encoding="utf-8"))


def sha256(path):
    return "sha256:" + hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_contract_of_the_file(saved):
    found = content(saved)
    assert found["format"] == FORMAT == "airstats-allowances/2"
    assert found["interval"] == INTERVAL == 0.9
    assert (found["quarter"], found["previous"]) == ("2023Q2", "")
    assert found["jobs_used"] == len(found["job_ids"]) == 16
    assert found["job_ids"] == list(FIRM.records.jobs["job_id"])
    assert list(found["allowances"]) == found["parameter_order"] == NAMES
    for allowance in found["allowances"].values():
        assert set(allowance) == {"mean", "sd", "low", "high", "unit"}
        assert allowance["low"] < allowance["mean"] < allowance["high"]
    assert found["allowances"]["waste"]["unit"] == "m² a m² laid"
    assert found["allowances"]["reveal.lined"]["unit"] == "m² of sheet a m² of reveal"
    assert {"floor_m2", "spread", "crew_sd", "drift", "trend"} <= set(found["spread"])
    assert set(found["crews"]) == set(FIRM.records.jobs["crew"])
    assert found["records"] == FIRM.records.digest
    assert {"python", "airstats", "numpy", "pandas", "scipy"} <= set(found["versions"])
    text = saved.read_text(encoding="utf-8")
    assert "m² a m² laid" in text
    assert text.endswith("}\n")
    assert '\n    "waste": {"mean": ' in text
    assert not {"NaN", "Infinity"} & set(re.findall(r"\w+", text))


def test_the_table_and_its_interval():
    table = learnt().table()
    assert list(table.index) == NAMES
    assert list(table.columns) == ["mean", "sd", "low", "high", "unit"]
    belief = learnt().belief
    flat = belief.form == FORMS.index("factor")
    rng = np.random.default_rng(1)
    for place, name in enumerate(NAMES):
        rows = np.flatnonzero(flat) if place else np.arange(len(flat))
        share = belief.weight[rows] / belief.weight[rows].sum()
        drawn = rng.choice(rows, 100_000, p=share)
        sd = np.sqrt(belief.covariance[drawn, place, place])
        values = rng.normal(belief.mean[drawn, place], sd)
        row = table.loc[name]
        assert values.mean() == pytest.approx(row["mean"], abs=0.02 * row["sd"])
        assert values.std() == pytest.approx(row["sd"], rel=0.01)
        held = ((values >= row["low"]) & (values <= row["high"])).mean()
        assert held == pytest.approx(0.9, abs=0.005)


def test_covariance_fits_the_table():
    """Of the flat form: the waste of the table is averaged over both forms, the factors are not."""
    covariance, table, belief = learnt().covariance(), learnt().table(), learnt().belief
    np.testing.assert_allclose(covariance, covariance.T, rtol=1e-12)
    assert (np.linalg.eigvalsh(covariance) > 0).all()
    sd = np.sqrt(np.diag(covariance))
    assert sd[1:] == pytest.approx(table["sd"].to_numpy()[1:])
    flat = belief.pick(belief.form == FORMS.index("factor"))
    waste = flat.mean[:, 0]
    spread = np.cov(waste, aweights=flat.weight, ddof=0)
    within = np.average(flat.covariance[:, 0, 0], weights=flat.weight)
    assert sd[0] == pytest.approx(np.sqrt(spread + within))


def test_the_prior_before_any_job():
    prior = unchanged("2026Q1")
    assert (prior.quarter, prior.first_quarter, prior.job_ids) == ("2026Q1", "2026Q1", ())
    given = prior.belief.prior
    usual, wide = (given.waste, *given.reveal_factors), (given.wide_waste, *given.wide_factors)
    assert prior.table()["mean"].to_list() == pytest.approx(
        [0.7 * mean + 0.3 * far for (mean, _), (far, _) in zip(usual, wide, strict=True)]
    )
    assert len(prior.crew_table()) == 0


@pytest.mark.parametrize(
    "allowances",
    [
        lambda: learnt(),
        lambda: unchanged("2026Q1"),
        lambda: carried_forward(learnt(), "2024Q4"),
        lambda: calibrate(FIRM.records, drift=0.0, prior=FEW),
        lambda: calibrate(
            invent_firm(World("no crews", jobs=6, quarters=1), 2).records, depth_error_mm=20.0
        ),
    ],
    ids=["usual", "prior", "empty quarter", "no drift", "rough depths"],
)
def test_round_trip(tmp_path, allowances):
    allowances = allowances()
    allowances.save(tmp_path / "a.json")
    other = load_allowances(tmp_path / "a.json")
    one_belief, other_belief = allowances.belief, other.belief
    same_belief(other_belief, one_belief, atol=1e-15)
    assert (other_belief.crews, other_belief.prior) == (one_belief.crews, one_belief.prior)
    assert other_belief.gross_share == pytest.approx(one_belief.gross_share, rel=1e-9)
    for name in ("quarter", "first_quarter", "job_ids", "new_jobs", "late_jobs", "crew_jobs",
                 "records", "previous", "decision"):  # fmt: skip
        assert getattr(other, name) == getattr(allowances, name)
    assert other.suspects == pytest.approx(allowances.suspects, rel=1e-9)
    for table in ("table", "reuse_table", "crew_table"):
        given, found = getattr(allowances, table)(), getattr(other, table)()
        pd.testing.assert_frame_equal(found, given, rtol=1e-9)


def test_a_saved_file_prices_goes_on_and_is_written_alike(saved, tmp_path):
    loaded = load_allowances(saved)
    orders, again = price(FIRM.takeoff, learnt()), price(FIRM.takeoff, loaded)
    pd.testing.assert_frame_equal(again, orders, rtol=1e-7)
    on, again = (carried_forward(before, "2024Q1") for before in (learnt(), loaded))
    pd.testing.assert_frame_equal(again.table(), on.table(), rtol=1e-7)
    calibrate(FIRM.records, prior=FEW).save(tmp_path / "again.json")
    assert (tmp_path / "again.json").read_bytes() == saved.read_bytes()


def test_digest_is_that_of_the_file_and_the_next_file_names_it(saved, tmp_path):
    calibrate(FIRM.records, saved, "2023Q2").save(tmp_path / "next.json")
    assert content(tmp_path / "next.json")["previous"] == sha256(saved)
    assert load_allowances(tmp_path / "next.json").previous == sha256(saved)
    assert learnt().digest() == load_allowances(saved).digest() == sha256(saved)
    saved.write_text(saved.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert load_allowances(saved).digest() == sha256(saved) != learnt().digest()


def test_a_missing_file_and_a_folder(tmp_path):
    with pytest.raises(AirstatsError, match=r"gone\.json: there is no such file; give an"):
        load_allowances(tmp_path / "gone.json")
    with pytest.raises(AllowancesError, match=r"cannot be read as an allowances file"):
        load_allowances(tmp_path)


@pytest.mark.parametrize(
    "damage",
    [b"", b"{", b"not json", b"\xff\xfe\x00\x01", b'{"format": "airstats-allowances/2"'],
    ids=["empty", "brace", "words", "binary", "cut short"],
)
def test_a_file_that_is_no_json(tmp_path, damage):
    path = tmp_path / "bad.json"
    path.write_bytes(damage)
    with pytest.raises(AllowancesError, match=r"bad\.json: cannot be read .* not a JSON text"):
        load_allowances(path)


@pytest.mark.parametrize("text", ['{"format": "airstats-allowances/3"}', "{}", "[1, 2]", "3"])
def test_another_format(tmp_path, text):
    path = tmp_path / "other.json"
    path.write_text(text)
    with pytest.raises(AllowancesError, match=r'format is ".*" where "airstats-allowances/2" is'):
        load_allowances(path)


def test_a_file_without_companions_and_trend_is_read_and_its_reader_told(saved):
    def make_older(whole):
        whole["format"] = "airstats-allowances/1"
        for key in ("wide_weight", "wide_waste", "wide_factors", "trend", "trend_weight"):
            del whole["prior"][key]
        for row in whole["candidates"]:
            del row["trend"]

    older = load_allowances(damaged(saved, make_older))
    belief = learnt().belief
    same_belief(older.belief, replace(belief, trend=0 * belief.trend), atol=1e-15)
    start = replace(FEW, wide_weight=0.0, trend_weight=0.0)
    assert older.belief.prior == start
    assert "knows no trend of waste; calibrated anew" in older.notes[-1]
    assert not learnt().notes


def damaged(path, change):
    whole = content(path)
    change(whole)
    whole["digest"] = own_digest(whole)
    path.write_text(json.dumps(whole), encoding="utf-8")
    return path


NEEDED = (
    "quarter", "first_quarter", "candidates", "crews", "prior", "job_ids", "new_jobs", "late_jobs",
    "previous", "records",
)  # fmt: skip


@pytest.mark.parametrize("key", NEEDED)
def test_a_key_is_missing(saved, key):
    damaged(saved, lambda whole: whole.pop(key))
    with pytest.raises(AllowancesError, match=rf"damaged \('{key}' is missing\)"):
        load_allowances(saved)


DAMAGES = {
    "a form that is none": lambda _, first: first.update(form="guess"),
    "too few numbers": lambda _, first: first["covariance"].pop(),
    "a mean too few": lambda _, first: first["mean"].pop(),
    "a variance below nought": lambda _, first: first["covariance"].__setitem__(0, -1),
    "no candidate": lambda whole, _: whole["candidates"].clear(),
    "a crew too many": lambda whole, _: whole["crews"].update(Elder={"jobs": 1}),
    "a weight below nought": lambda _, first: first.update(weight=-1e-9),
    "more records wrong than seen": lambda whole, _: whole["gross_records"].update(seen=-1.0),
    "a blank in the prior": lambda whole, _: whole["prior"]["waste"].__setitem__(0, None),
    "a word for a count": lambda whole, _: whole["crews"]["Alder"].update(jobs="many"),
    "a suspect without a chance": lambda whole, _: whole.update(suspects={"H1": "x"}),
    "a decision that is none": lambda whole, _: whole.update(decision=5),
    "jobs that are one text": lambda whole, _: whole.update(job_ids="J1 J2"),
    "jobs that are numbers": lambda whole, _: whole.update(new_jobs=[1, 2]),
    "records that are a number": lambda whole, _: whole.update(records=5),
    "a count beyond measure": lambda whole, _: whole["gross_records"].update(seen=10**400),
    "a first quarter that is none": lambda whole, _: whole.update(first_quarter="spring"),
    "a first quarter after the last": lambda whole, _: whole.update(first_quarter="2031Q1"),
    "a quarter that is none": lambda whole, _: whole.update(quarter="2023-Q2"),
} | {
    f"{name} of {value}": lambda _, first, name=name, value=value: first.update({name: value})
    for name, value in [("spread", "wide"), ("spread", -0.01), ("spread", None),
                        ("drift", 1e300), ("drift", None), ("drift", -0.01)]
} | {
    f"a floor of {value}": lambda whole, _, value=value: whole["prior"].update(floor_m2=value)
    for value in ("x", 1e300)
}  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGES)
def test_numbers_that_cannot_be(saved, damage):
    damaged(saved, lambda whole: DAMAGES[damage](whole, whole["candidates"][0]))
    with pytest.raises(AllowancesError, match=r"2023Q2\.json: damaged \(.*take the file as"):
        load_allowances(saved)


def numbers_in(part, place=()):
    """Yield the way to every number of a file."""
    if isinstance(part, (dict, list)):
        for key, value in part.items() if isinstance(part, dict) else enumerate(part):
            yield from numbers_in(value, (*place, key))
    elif isinstance(part, (int, float)):
        yield place


def test_every_number_edited_by_hand_is_refused(saved):
    """Of the candidates the heaviest alone: all of them are the same to the digest."""
    whole = content(saved)
    whole["candidates"] = [max(whole["candidates"], key=lambda one: one["weight"])]
    ways = list(numbers_in(whole))
    assert {"candidates", "covariance", "crews", "allowances", "prior"} <= {way[0] for way in ways}
    whole["digest"] = own_digest(whole)
    for *parts, key in ways:
        edited = copy.deepcopy(whole)
        reduce(lambda part, key: part[key], parts, edited)[key] += 0.001
        file = saved.with_name(f"{'-'.join(map(str, parts))}-{key}.json")
        file.write_text(json.dumps(edited), encoding="utf-8")
        with pytest.raises(AllowancesError, match=r"edited by hand: .* or calibrate that quarter"):
            load_allowances(file)


def test_a_file_without_a_digest_or_with_a_number_that_is_none_is_refused(saved):
    text = saved.read_text(encoding="utf-8")
    saved.write_text(text.replace('"likely_wrong": ', '"likely_wrong": NaN, "x": '), "utf-8")
    with pytest.raises(AllowancesError, match="not a JSON text"):
        load_allowances(saved)
    saved.write_text(text.replace('"digest": ', '"x": '), encoding="utf-8")
    with pytest.raises(AllowancesError, match=r"no digest .*; calibrate again from the records"):
        load_allowances(saved)


def test_spaces_and_a_byte_order_mark_are_no_edit(saved):
    saved.write_text(json.dumps(content(saved), indent=3), encoding="utf-8-sig")
    same_belief(load_allowances(saved).belief, learnt().belief, atol=1e-15)


def fail(*_, **__):
    raise OSError("disk full")


@pytest.mark.parametrize("step", ["replace", "fsync"])
def test_a_failed_save_leaves_the_old_file_or_nothing(saved, monkeypatch, step):
    before = saved.read_bytes()
    monkeypatch.setattr(os, step, fail)
    for file in (saved, saved.with_name("new.json")):
        with pytest.raises(OSError, match="disk full"):
            unchanged("2030Q1").save(file)
    assert saved.read_bytes() == before
    assert list(saved.parent.iterdir()) == [saved]


def test_saving_makes_the_folder_and_overwrites(tmp_path):
    path = tmp_path / "allowances" / "a.json"
    write_whole(path, "old\n")
    write_whole(path, "new ²\n")
    assert path.read_bytes() == "new ²\n".encode()
    assert list(path.parent.iterdir()) == [path]
