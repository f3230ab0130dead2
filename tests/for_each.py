"""One test of many cases: it names every case that fails, and costs no more than the cases do."""

import pytest


def for_each(cases, name=repr):
    """Let a test of one argument go through all cases, and tell all that fail by their names."""
    cases = list(cases)

    def decorate(check):
        def go_through_all():
            failed = []
            for case in cases:
                try:
                    check(case)
                except (Exception, pytest.fail.Exception) as error:
                    failed.append(f"{name(case)}: {error!r}")
            assert cases, "no case at all"
            assert not failed, "\n".join(failed)

        return go_through_all

    return decorate
