"""What all tests share."""

import os

import pytest
from django.conf import settings as django_settings
from django.utils import translation
from hypothesis import HealthCheck, settings

# Two cores are shared with the database: a slow example is not a failed one.
settings.register_profile(
    "here", deadline=None, max_examples=30, suppress_health_check=[HealthCheck.too_slow]
)
# The same examples on every run, so that a red run can be run again.
# The same cases each time; with EXPLORE=1 new ones are looked for.
settings.register_profile("same", parent=settings.get_profile("here"), derandomize=True)
settings.load_profile("here" if os.environ.get("EXPLORE") else "same")

# Whose tests take long, one at a time: first, so that no worker is left with one when the others
# have nothing to do any more.
LONG = ("tests/browser/", "tests/drills/", "tests/fuzz/", "tests/bench/")

# The cast: users by role and clients signed in as them.
pytest_plugins = ["tests.cast"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: not item.nodeid.startswith(LONG))


@pytest.fixture(autouse=True)
def estate_language() -> None:
    """Each test begins in the estate's language, whatever a page before it was read in."""
    translation.activate(django_settings.LANGUAGE_CODE)
