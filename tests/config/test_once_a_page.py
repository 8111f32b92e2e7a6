"""What a page reads once, and what is never kept: writes, jobs, and the next page."""

import pytest
from django.http import HttpResponse
from django.test import RequestFactory

from config.once_a_page import OncePerPage, once_a_page


@pytest.fixture
def asked():
    return []


@pytest.fixture
def setting(asked):
    @once_a_page
    def value(name, day=1):
        asked.append((name, day))
        return len(asked)

    return value


def page(method, *reads):
    def view(request):
        for read in reads:
            read()
        return HttpResponse()

    OncePerPage(view)(RequestFactory().generic(method, "/"))


@pytest.mark.parametrize(("method", "times"), [("GET", 1), ("HEAD", 1), ("POST", 2), ("DELETE", 2)])
def test_a_page_reads_a_setting_once_and_a_write_each_time(setting, asked, method, times):
    page(method, lambda: setting("a"), lambda: setting("a"))
    assert len(asked) == times


def test_other_arguments_are_another_read(setting, asked):
    page("GET", lambda: setting("a"), lambda: setting("b"), lambda: setting("a", day=2))
    assert asked == [("a", 1), ("b", 1), ("a", 2)]


def test_the_next_page_and_what_is_no_page_read_anew(setting, asked):
    page("GET", lambda: setting("a"))
    page("GET", lambda: setting("a"))
    setting("a")
    setting("a")
    assert len(asked) == 4


def test_nothing_stays_behind_a_page_that_fails(setting, asked):
    def fails():
        setting("a")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        page("GET", fails)
    assert setting("a") == 2
