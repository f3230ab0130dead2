import pytest

from tests.for_each import for_each


def test_every_case_that_fails_is_named_and_no_case_is_a_failure():
    def check(case):
        with pytest.raises(ValueError, match="base"):
            int(case)

    with pytest.raises(AssertionError) as told:
        for_each(["x", "1", None, "y"])(check)()
    assert [line.split(":")[0] for line in str(told.value).splitlines()] == ["'1'", "None"]
    with pytest.raises(AssertionError, match="no case"):
        for_each([])(check)()
    for_each(["x"])(check)()
