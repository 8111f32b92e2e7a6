"""Words for people, in modules that know no framework: marked here, translated when said.

Modules that stand on Django take ``gettext`` and its kin from Django; both say ``_``. ``N_`` marks
a constant, so that it gets into the catalogues; whoever shows it says ``_(CONSTANT)``. Figures and
days in a sentence take the reader's form the same way.
"""

from collections.abc import Callable
from datetime import date

_translate: list[Callable[[str], str]] = []
_shape_figures: list[Callable[[str], str]] = []
_shape_day: list[Callable[[date], str]] = []


def N_(words: str) -> str:
    """Words that are translated where they are said, as they stand."""
    return words


def _(words: str) -> str:
    """Words in the language that holds; as they stand when nobody translates."""
    return _translate[-1](words) if _translate else words


def figures(written: str) -> str:
    """Figures with a decimal point and commas between thousands, in the reader's form."""
    return _shape_figures[-1](written) if _shape_figures else written


def day_said(day: date) -> str:
    """A day in a sentence, as 2026-06-06, in the reader's form."""
    return _shape_day[-1](day) if _shape_day else day.isoformat()


def translate_by(
    translate: Callable[[str], str],
    *,
    shape_figures: Callable[[str], str],
    shape_day: Callable[[date], str],
) -> None:
    """Have words translated, figures and days shaped by these; the frame says so at start-up."""
    _translate.append(translate)
    _shape_figures.append(shape_figures)
    _shape_day.append(shape_day)


MONTHS = (
    N_("January"),
    N_("February"),
    N_("March"),
    N_("April"),
    N_("May"),
    N_("June"),
    N_("July"),
    N_("August"),
    N_("September"),
    N_("October"),
    N_("November"),
    N_("December"),
)
