"""Django's templates, which let go of what a page was made from once it is made.

A context and the values pushed on it name each other. What hung on them, thousands of rows, stayed
until Python next looked for garbage: a tenth of a second, in the middle of somebody else's page.
"""

from typing import Any

from django.http import HttpRequest
from django.template import TemplateDoesNotExist
from django.template.backends.django import DjangoTemplates, Template, copy_exception
from django.template.context import make_context
from django.utils.safestring import SafeString


class Letting(Template):
    """A template of Django's that empties its context when it has said everything."""

    def render(
        self, context: dict[str, Any] | None = None, request: HttpRequest | None = None
    ) -> SafeString:
        made = make_context(context, request, autoescape=self.backend.engine.autoescape)
        try:
            return self.template.render(made)
        except TemplateDoesNotExist as missing:
            raise copy_exception(missing, self.backend) from missing
        finally:
            made.dicts.clear()


class Templates(DjangoTemplates):
    """The backend of the settings."""

    def from_string(self, template_code: str) -> Letting:
        return Letting(super().from_string(template_code).template, self)

    def get_template(self, template_name: str) -> Letting:
        return Letting(super().get_template(template_name).template, self)
