"""A quarter with codes, searched byte by byte for every name that went in."""

import base64
import binascii
import io
import json
import re
import zipfile
import zlib
from contextlib import nullcontext
from dataclasses import replace

import pytest
from pypdfium2 import PdfDocument

from airstats.__main__ import main
from airstats.base.errors import AirstatsError
from airstats.documents.redaction import masked, refuse_named_folder
from airstats.documents.run_notebooks import NOTEBOOKS, notebooks_folder
from airstats.model.quarterly_update import calibrate
from airstats.records.reading import CODED
from tests.invented import few_candidates, save
from tests.reports.test_pseudonyms import MARKER, marked

_BASE64 = re.compile(rb"[A-Za-z0-9+/]{40,}={0,2}")
_PDF_STREAM = re.compile(rb"stream\r?\n(.*?)\r?\nendstream", re.DOTALL)


def layers(data, depth=3):
    """Yield some bytes and whatever is packed inside them: base64, zlib, zip, JSON's escapes."""
    yield data
    if not depth:
        return
    inside = [
        _undone(base64.b64decode, text) for text in _BASE64.findall(data.replace(b"\\n", b""))
    ]
    inside += [_undone(zlib.decompress, data)]
    inside += [_undone(zlib.decompress, part) for part in _PDF_STREAM.findall(data)]
    if data[:4] == b"PK\x03\x04":
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            inside += [packed.read(name) for name in packed.namelist()]
    if data[:5] == b"%PDF-":
        document = PdfDocument(data)
        words = [page.get_textpage().get_text_bounded() for page in document]
        inside.append("\n".join([*words, str(document.get_metadata_dict())]).encode())
    for part in filter(None, inside):
        yield from layers(part, depth - 1)


def _undone(undo, text):
    try:
        return undo(text)
    except (binascii.Error, zlib.error, ValueError):
        return b""


def found(data, *words):
    """Return those of the words that some layer holds."""
    sought = {word: word.lower().encode() for word in words}
    held = [layer.lower() for layer in layers(data)]
    return {word for word, code in sought.items() if any(code in layer for layer in held)}


def write(records, folder):
    """Write records as a firm keeps them, with names in the folder, headings and free texts too."""
    jobs = records.jobs.rename(columns={"client": f"{MARKER} client"})
    save(folder, replace(records, jobs=jobs))


@pytest.fixture(scope="module")
def ran(tmp_path_factory, nursery):
    """Run the quarter on marked records with a faulty row, an odd record and a takeoff."""
    place = tmp_path_factory.mktemp("place") / f"{MARKER} desk"
    records, ahead = marked(jobs=16), marked(jobs=2, seed=8)
    records.jobs.loc[1, "used_rolls"] += 4.0
    records.jobs["surface_m2"] = records.jobs["surface_m2"].astype(object)
    records.jobs.loc[4, "surface_m2"] = f"ask {MARKER}"
    write(records, place / f"{MARKER} records")
    bare = ahead.jobs.assign(finished_on=None, estimated_rolls=None, used_rolls=None)
    bare["job_id"] = f"{MARKER} plot " + bare.index.astype(str)
    moved = dict(zip(ahead.jobs["job_id"], bare["job_id"], strict=True))
    openings = ahead.openings.assign(job_id=ahead.openings["job_id"].map(moved))
    write(replace(ahead, jobs=bare, openings=openings), place / "ahead")
    out, key = place / "out", place / "key.csv"
    call = [
        "quarter", str(place / f"{MARKER} records"), "--quarter", "2025Q4",
        "--takeoff", str(place / "ahead"), "--out", str(out),
        "--codes", "--codes-key", str(key), "--set-aside-bad-rows",
        "--firms", str(place / f"{MARKER} records"),
        "--decision", "keep", "--decision-reason", f"{MARKER} said so", "--decided-by", MARKER,
    ]  # fmt: skip
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("airstats.documents.nursery.kernel_nursery", lambda: nullcontext(nursery))
        patch.setattr("airstats.model.allowances.Prior", few_candidates)
        patch.setattr("airstats.documents.price_workbook.quote_page.LEAST_ROWS", 3)
        status = main(call)
    return status, out, key


def test_the_search_looks_inside_what_is_packed():
    text = f"a name {MARKER} in a line that is long enough to be packed".encode()
    packed = base64.b64encode(zlib.compress(base64.b64encode(text)))
    assert found(packed, MARKER, "another name") == {MARKER}
    assert found(b"stream\n" + zlib.compress(text) + b"\nendstream", MARKER)
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("sheet.xml", text)
    assert found(held.getvalue(), MARKER)


def test_no_byte_of_any_file_holds_a_name_or_a_path(ran):
    status, out, _ = ran
    assert status == 0
    files = [path for path in out.rglob("*") if path.is_file()]
    kinds = {path.suffix for path in files}
    assert {".html", ".ipynb", ".csv", ".json", ".png", ".svg", ".pdf"} <= kinds
    for path in files:
        assert not found(path.read_bytes(), MARKER, str(out.parent.parent)), path
        assert MARKER not in path.name


def test_reports_and_files_speak_of_codes_and_the_key_is_apart(ran):
    out = ran[1]
    assert re.search(r"\bJ0\d\d\b", (out / "evidence.html").read_text(encoding="utf-8"))
    page = (out / "why_jobs_run_over.html").read_text(encoding="utf-8")
    assert re.search(r"\bC[1-4]\b", page)
    assert "coded records" in page
    assert found((out / "why_jobs_run_over.pdf").read_bytes(), "coded records")
    assert "--codes" in page
    orders = (out / "orders.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert sorted(row.split(",")[0] for row in orders) == ["J016", "J017"]
    _, out, key = ran
    kept = json.loads((out / "allowances.json").read_text(encoding="utf-8"))
    assert kept["records"].startswith(CODED)
    assert all(re.fullmatch(r"J\d{3}", job) for job in kept["job_ids"])
    aside = (out / "set_aside.csv").read_text(encoding="utf-8").splitlines()
    assert aside[:2] == ["table,row,reason", "jobs,6,faulty"]
    assert f"{MARKER} house" in key.read_text(encoding="utf-8")
    assert not list(out.rglob("key*"))


def test_what_codes_refuse_and_mask(tmp_path):
    calibrate(marked(jobs=8)).save(tmp_path / "allowances.json")
    with pytest.raises(AirstatsError, match=r"a run without codes.*give another folder"):
        refuse_named_folder(tmp_path)
    asked = {"records": f"/home/{MARKER}", "quarter": "2025Q4", "leftover_cost": 60.0}
    assert masked(asked) == asked
    hidden = {"records": "RECORDS", "quarter": "2025Q4", "leftover_cost": 60.0, "codes": True}
    assert masked(asked | {"codes": True}) == hidden


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_every_notebook_hands_codes_on(name):
    source = (notebooks_folder() / f"{name}.ipynb").read_text(encoding="utf-8")
    assert "codes: bool = False  # replace names" in source
    assert len(re.findall(r"more = \{[^}]*codes\\\": codes\b", source)) == 1
    assert len(re.findall(r"open_desk\(\\n[^)]*\*\*more\b", source)) == 1
