"""Words for people, in modules that know no framework: marked here, translated when said.

Modules that stand on Django take ``gettext`` and its kin from Django; both say ``_``. ``N_`` marks
a constant, so that it gets into the catalogues; whoever shows it says ``_(CONSTANT)``.
"""

from collections.abc import Callable

_translate: list[Callable[[str], str]] = []


def N_(words: str) -> str:
    """Words that are translated where they are said, as they stand."""
    return words


def _(words: str) -> str:
    """Words in the language that holds; as they stand when nobody translates."""
    return _translate[-1](words) if _translate else words


def translate_by(translate: Callable[[str], str]) -> None:
    """Have words translated by this; the frame says by what at start-up."""
    _translate.append(translate)
