"""A firm whose every name tries to be more than a name."""

import csv
import io
from html.parser import HTMLParser

from tests.invented import invent
from tests.material_firm import firm, save

MARK = "PWNED"
"""The file that a name would make if it ran."""
NAMES = [
    "<script>alert(1)</script>",
    '<img src=x onerror="alert(1)">',
    '=HYPERLINK("http://x.example","a")',
    "+cmd|' /C calc'!A0",
    "-2+3+cmd|' /C calc'!A0",
    "@SUM(1)",
    "../../x",
    "..\\..\\x",
    "$\\frac{",
    "[a](javascript:alert(1))",
    "\\<b>\\[a](x)",
    "{{7*7}}{% raw %}",
    f'"""+__import__("os").system("touch {MARK}")+"""',
    f"');open('{MARK}','w')#",
    '#eval(read("/etc/hostname"))',
    "`# *x* _y_ | z`",
    "צוות א",
    "A" * 200,
]
STARTS = ("=", "+", "-", "@", "\t", "\r")


def hostile_firm(folder, materials=False):
    """Write the firm's records, with hostile job ids, crews, marks, reasons and a column."""
    records = firm(jobs=24, joint_tape=0.3) if materials else invent(jobs=24, factor=0.5)
    ids = dict(zip(records.jobs["job_id"], named(24), strict=True))
    jobs = records.jobs
    jobs["job_id"], jobs["crew"] = jobs["job_id"].map(ids), (NAMES * 2)[:24]
    jobs.loc[23, "exclude"] = NAMES[12]
    jobs.loc[22, "exclude"] = NAMES[2]
    jobs[NAMES[2]] = NAMES[3]
    records.openings["job_id"] = records.openings["job_id"].map(ids)
    records.openings["mark"] = (NAMES * 2)[:24]
    if materials:
        records.materials["job_id"] = records.materials["job_id"].map(ids)
    return save(folder, records)


def named(count):
    """So many different ids, each hostile."""
    return [f"{NAMES[n % len(NAMES)][: 200 - len(str(n))]}{n}" for n in range(count)]


def runs_in_a_spreadsheet(text):
    """The cells of a CSV file that a spreadsheet would take for a formula."""
    cells = [cell for line in csv.reader(io.StringIO(text)) for cell in line]
    return [cell for cell in cells if cell.startswith(STARTS) and not _is_number(cell)]


def _is_number(cell):
    try:
        float(cell)
    except ValueError:
        return False
    return True


class Tags(HTMLParser):
    """Every tag of a page with its attributes."""

    def __init__(self, page):
        super().__init__()
        self.found = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))

    def dangerous(self):
        """Return the tags that could run something or ask for something."""
        return [
            (tag, attributes)
            for tag, attributes in self.found
            if tag in ("script", "iframe", "object", "embed", "base", "form", "link")
            or any(name.startswith("on") for name in attributes)
            or not (attributes.get("href") or "#").startswith(("#", "data:text/csv"))
            or (tag == "img" and not (attributes.get("src") or "").startswith("data:image/"))
        ]
