"""Templates let go of what a page was made from, and are Django's in all else."""

import gc
import weakref
from typing import Any

import pytest
from django.template import TemplateDoesNotExist, engines
from django.test import RequestFactory

from config.templating import Templates
from tests.cast import user_in

engine = engines["templating"]


class Row:
    """Something a page tells."""

    def __str__(self) -> str:
        return "a row"


@pytest.fixture
def no_looks():
    """Without looks for garbage."""
    gc.collect()
    gc.disable()
    yield
    gc.enable()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "source",
    ["{{ row }}", "{% for one in rows %}{{ one }}{% endfor %}", "{{ nothing.at.all }}{{ row }}"],
)
def test_what_a_page_was_made_from_is_gone_with_it(no_looks, source):
    row = Row()
    gone = weakref.ref(row)
    request: Any = RequestFactory().get("/")
    request.user = user_in("vet")
    assert "a row" in engine.from_string(source).render({"row": row, "rows": [row]}, request)
    del row
    assert gone() is None


def test_a_page_is_what_django_makes_of_it():
    assert isinstance(engine, Templates)
    assert engine.from_string("{{ a }}{{ b|default:2 }}").render({"a": "<1>"}) == "&lt;1&gt;2"


@pytest.mark.parametrize("source", ["{% include 'nobody.html' %}", "{% extends 'nobody.html' %}"])
def test_a_template_nobody_has_is_named_with_the_backend(source):
    with pytest.raises(TemplateDoesNotExist, match="nobody") as missing:
        engine.from_string(source).render({})
    assert missing.value.backend is engine
    with pytest.raises(TemplateDoesNotExist, match="nowhere"):
        engine.get_template("nowhere.html")
