"""Inputs nobody would type: real samples changed at random, and text and bytes out of nothing.

The same number gives the same inputs, so that a red run can be run again.
"""

from collections.abc import Callable, Sequence
from random import Random

# Signs at which readers have broken elsewhere: separators, quotes, signs that look like digits or
# like minus, blanks of every width, marks of direction, halves of a pair, ends of lines.
HOSTILE = (
    *"0123456789 ,.;:-+/\\'\"=<>@%&?#()[]{}|~`^_*!$€\t\n\r\x00\x07\x0b\x0c\x1b\x7f",
    *"\u00a0\u2009\u202f\u3000\u200b\u200e\u202e\ufeff\u2028\u2029",
    *"\u2212\u2013\u2014\uff0d٣۳३０９²½Ⅷ①𝟗ıİßǅµ°",
    *"éüŁ漢字🐄",
    "\ud800",
    "\udfff",
)
PIECES = (
    "", "0", "-0", "1e9", "1E400", "NaN", "Infinity", "-inf", "0x10", "1_000", "9" * 20, "9" * 400,
    "null", "None", "true", "=1+1", "@SUM(A1)", "'", '"', "';--", "../../etc", "%00", "%s%n",
    "{0}", "{0.__class__}", "{{7*7}}", "<b>", "2026-02-29", "2026-06-31", "0000-00-00",
    "9999-12-31", "2026-03-29T02:30", "2026-10-25T02:30", "24:00", "23:59:60", "+14:01", "-99:99",
    "Z", "1.234", "1,234", "1.234,5", "1,234.5", "1'234", "<10", "≤ 3", ">>1", "n.d.",
    "999000000001042", "DE 123", "3.8E+11", "00000000-0000-0000-0000-000000000000",
    "/01/04006381333931/10/A/21/7", "https://x/21/", "14/7", "0004711", "1-6, 9", "4001-4012",
)  # fmt: skip
LONG = 3000

Change = Callable[[Random, str, Sequence[str]], str]


def cut(dice: Random, text: str) -> tuple[int, int]:
    """A piece of a text: from where to where."""
    first = dice.randrange(len(text) + 1)
    return first, min(len(text), first + dice.randrange(1, 5))


def replaced(dice: Random, text: str, others: Sequence[str]) -> str:
    first, last = cut(dice, text)
    return f"{text[:first]}{dice.choice(HOSTILE)}{text[last:]}"


def inserted(dice: Random, text: str, others: Sequence[str]) -> str:
    first, _ = cut(dice, text)
    return text[:first] + dice.choice(PIECES) + text[first:]


def left_out(dice: Random, text: str, others: Sequence[str]) -> str:
    first, last = cut(dice, text)
    return text[:first] + text[last:]


def repeated(dice: Random, text: str, others: Sequence[str]) -> str:
    first, last = cut(dice, text)
    return text[:first] + text[first:last] * dice.choice((2, 3, 50)) + text[last:]


def joined(dice: Random, text: str, others: Sequence[str]) -> str:
    other = dice.choice(others)
    return text[: dice.randrange(len(text) + 1)] + other[dice.randrange(len(other) + 1) :]


def swapped(dice: Random, text: str, others: Sequence[str]) -> str:
    return text.swapcase() if dice.random() < 0.5 else text[::-1]


def out_of_nothing(dice: Random, text: str, others: Sequence[str]) -> str:
    return "".join(dice.choices(HOSTILE, k=dice.randrange(12)))


def very_long(dice: Random, text: str, others: Sequence[str]) -> str:
    return f"{text}{dice.choice(HOSTILE)}" * (LONG // (len(text) + 1))


COMMON: tuple[Change, ...] = (replaced, inserted, left_out, repeated, joined, swapped)


def changed(dice: Random, samples: Sequence[str]) -> str:
    """A sample changed once or a few times; now and then as it is, very long, or nothing of it."""
    text, roll = dice.choice(samples), dice.random()
    if roll < 0.02:
        return very_long(dice, text, samples)
    if roll < 0.12:
        return out_of_nothing(dice, text, samples)
    for _ in range(dice.choice((0, 1, 1, 1, 2, 3))):
        text = dice.choice(COMMON)(dice, text, samples)
    return text


def changed_bytes(dice: Random, samples: Sequence[bytes]) -> bytes:
    """A file changed: as text, byte by byte, cut short, in another encoding, or only noise."""
    data, roll = dice.choice(samples), dice.random()
    if roll < 0.05:
        return dice.randbytes(dice.randrange(300))
    if roll < 0.55:
        texts = [sample.decode("utf-8", "replace") for sample in samples]
        text = changed(dice, texts)
        encoding = dice.choice(("utf-8", "utf-8-sig", "cp1252", "utf-16", "latin-1"))
        return text.encode(encoding, "replace")
    for _ in range(dice.randrange(1, 6)):
        first = dice.randrange(len(data) + 1)
        last = min(len(data), first + dice.randrange(6))
        data = data[:first] + dice.randbytes(dice.randrange(4)) + data[last:]
    return data[: dice.randrange(len(data) + 1)] if roll > 0.95 else data
