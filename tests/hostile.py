"""A firm whose every name tries to be more than a name."""

import csv
import io
from dataclasses import replace
from html.parser import HTMLParser

from tests.invented import invent, save

MARK = "PWNED"
"""The file that a name would make if it ran."""


NAMES = [
    "<script>alert(1)</script>", '<img src=x onerror="alert(1)">',
    '=HYPERLINK("http://x.example","a")', "+cmd|' /C calc'!A0", "-2+3+cmd|' /C calc'!A0", "@SUM(1)",
    "../../x", "..\\..\\x", "$\\frac{", "[a](javascript:alert(1))", "\\<b>\\[a](x)",
    "{{7*7}}{% raw %}", f'"""+__import__("os").system("touch {MARK}")+"""',
    f"');open('{MARK}','w')#", '#eval(read("/etc/hostname"))', "`# *x* _y_ | z`", "צוות א",
    "A" * 200,
]  # fmt: skip


STARTS = ("=", "+", "-", "@", "\t", "\r")


def hostile_firm(folder):
    """Write the firm's records, with hostile job ids, crews, marks, reasons and a column."""
    records, many = invent(jobs=24, factor=0.5), (NAMES * 2)[:24]
    reasons = [""] * 22 + [NAMES[2], NAMES[12]]
    jobs = records.jobs.assign(job_id=named(24), crew=many, exclude=reasons, **{NAMES[2]: NAMES[3]})
    openings = records.openings.assign(job_id=named(24), mark=many)
    return save(folder, replace(records, jobs=jobs, openings=openings))


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
