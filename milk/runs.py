"""Names that count up taken together: "tray 12 to 22". Pure."""

import re
from collections.abc import Iterable

from config.saying import _

NUMBER = re.compile(r"[0-9]+$")


def runs(names: Iterable[str]) -> list[list[str]]:
    """Names in runs in which each is the one before it counted up by one, in their order."""
    found: list[list[str]] = []
    for name in names:
        if found and follows(found[-1][-1], name):
            found[-1].append(name)
        else:
            found.append([name])
    return found


def run_said(run: list[str]) -> str:
    """A run in words; two are named, of more the first and the last."""
    return (
        _("{first} to {last}").format(first=run[0], last=last_number(run[-1]))
        if len(run) > 2
        else ", ".join(run)
    )


def names_said(names: Iterable[str]) -> str:
    """Names in words, those that count up taken together: "vat 2026-06-10/12 to 22"."""
    return ", ".join(map(run_said, runs(names)))


def last_number(name: str) -> str:
    """The digits a name ends in; "" without any."""
    found = NUMBER.search(name)
    return found[0] if found else ""


def follows(before: str, name: str) -> bool:
    """Whether a name is the one before it, counted up by one."""
    one, two = last_number(before), last_number(name)
    if not one or not two or before.removesuffix(one) != name.removesuffix(two):
        return False
    return len(one) <= len(two) and int(two) == int(one) + 1
