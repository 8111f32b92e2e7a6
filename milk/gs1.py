"""Numbers and addresses by the GS1 General Specifications: check digits, SSCC, Digital Link.

Pure. A key is text of digits whose last one is its check digit; it is never a number, because
leading zeros count.
"""

from urllib.parse import quote

from config.saying import N_, _

GTIN_DIGITS, SSCC_DIGITS = 14, 18
BATCH_MOST, SERIAL_MOST = 20, 20
# GS1 AI encodable character set 82 (General Specifications, figure 7.11-1).
CHARACTERS = frozenset(
    "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
)
NOT_DIGITS = N_("“{text}” is no such number. Expected {lengths} digits and nothing else.")
WRONG_CHECK = N_(
    "{text} has the check digit {found}; its other digits give {expected}. Look at the paper again."
)
NOT_A_VALUE = N_(
    "“{text}” cannot stand in a code: expected 1 to {most} letters, digits or - _ . /."
)
TOO_LONG = N_("The company prefix {prefix} leaves no room for serial {serial}.")


def check_digit(body: str) -> str:
    """The check digit of a key without it: weights 3, 1, 3 … from the right, up to the next ten.

    Raises ValueError for anything but digits.
    """
    if not body or not (body.isascii() and body.isdecimal()):
        raise ValueError(_(NOT_DIGITS).format(text=body[:30], lengths=_("some")))
    total = sum(
        int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(reversed(body))
    )
    return str(-total % 10)


def check_key(text: str, lengths: tuple[int, ...]) -> None:
    """Refuse what is no key of one of these lengths. Raises ValueError with the sentence."""
    if not (text.isascii() and text.isdecimal() and len(text) in lengths):
        said = _(" or ").join(str(length) for length in lengths)
        raise ValueError(_(NOT_DIGITS).format(text=text[:30], lengths=said))
    expected = check_digit(text[:-1])
    if text[-1] != expected:
        raise ValueError(_(WRONG_CHECK).format(text=text, found=text[-1], expected=expected))


def padded(gtin: str) -> str:
    """A GTIN of any length in 14 digits."""
    return gtin.rjust(GTIN_DIGITS, "0")


def sscc(prefix: str, serial: int, extension: int = 0) -> str:
    """The number of a pallet: extension digit, company prefix, serial, check digit.

    Raises ValueError when the serial does not fit beside the prefix.
    """
    room = SSCC_DIGITS - 2 - len(prefix)
    if serial < 0 or len(str(serial)) > room:
        raise ValueError(_(TOO_LONG).format(prefix=prefix, serial=serial))
    body = f"{extension}{prefix}{serial:0{room}d}"
    return body + check_digit(body)


def value(text: str, most: int) -> str:
    """A batch or serial as it may stand in a code. Raises ValueError for another sign or length."""
    if not 1 <= len(text) <= most or not set(text) <= CHARACTERS:
        raise ValueError(_(NOT_A_VALUE).format(text=text[:30], most=most))
    return text


def wheel_link(root: str, gtin: str, batch: str, serial: str) -> str:
    """The GS1 Digital Link of one piece: …/01/GTIN/10/batch/21/serial, percent-encoded.

    ``root``: the address before it, with or without a slash at its end. Raises ValueError for a
    wrong GTIN, batch or serial.
    """
    check_key(gtin, (GTIN_DIGITS,))
    parts = (
        "01",
        gtin,
        "10",
        value(batch, BATCH_MOST),
        "21",
        value(serial, SERIAL_MOST),
    )
    return "/".join([root.rstrip("/"), *(quote(part, safe="") for part in parts)])


def pallet_link(root: str, number: str) -> str:
    """The GS1 Digital Link of a pallet: …/00/SSCC. Raises ValueError for a wrong number."""
    check_key(number, (SSCC_DIGITS,))
    return f"{root.rstrip('/')}/00/{number}"
