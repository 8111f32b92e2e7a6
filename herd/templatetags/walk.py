"""Where the rows of the walking lists lead to."""

from typing import Any
from uuid import UUID

from django import template
from django.urls import reverse

register = template.Library()


@register.simple_tag
def walk_act(act: dict[str, Any], uuid: UUID) -> str:
    """The address of what is done with a row: a page of the animal, or a form that names her."""
    address, query = act["address"], act["query"]
    if query is None:
        return reverse(address, args=[uuid])
    if ":" in address:
        return f"{reverse(address)}?{query}={uuid}"
    return f"{reverse('kind-new', args=[address])}?{query}={uuid}"
