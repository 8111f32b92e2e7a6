"""Which signs make a cow's milk unfit without anybody saying so: dated rows of each scheme.

Pure: what was seen, the rows, the day and the fever limit are arguments. Sources: the schemes name
these signs themselves (Regulation (EC) 853/2004 Annex III Section IX Chapter I Part I; the Swiss
order on hygiene in milk production, Art. 10); each row says where it stands.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

UNTIL_WELL = N_("until she is written well again")
NO_TEMPERATURE = N_("temperature not written")


@dataclass(frozen=True, slots=True)
class SignRule:
    """What a scheme says of a case from a day on; ``keeps_out`` False: not any more.

    ``with_fever``: only together with fever.
    """

    case: str
    with_fever: bool
    keeps_out: bool
    scheme: str
    valid_from: date


def in_force(rules: Iterable[SignRule], case: str, day: date) -> list[SignRule]:
    """The rows about a case on a day that keep milk out: the newest of each scheme."""
    valid = [rule for rule in rules if rule.case == case and rule.valid_from <= day]
    newest = {rule.scheme: rule for rule in sorted(valid, key=lambda rule: rule.valid_from)}
    return [newest[scheme] for scheme in sorted(newest) if newest[scheme].keeps_out]


def why_unfit(
    case: str,
    temperature: Decimal | None,
    rules: Iterable[SignRule],
    day: date,
    fever_from: Decimal | None,
) -> str:
    """Why a case seen on a day keeps the milk out, in words; "" when it does not.

    ``temperature`` and ``fever_from`` in °C. Where only fever makes it unfit and nobody wrote the
    temperature, or no limit says what fever is, nobody knows that she has none: she is out.
    """
    known = temperature is not None and fever_from is not None
    fever = not known or (temperature or Decimal(0)) >= (fever_from or Decimal(0))
    naming = [rule for rule in in_force(rules, case, day) if fever or not rule.with_fever]
    if not naming:
        return ""
    schemes = ", ".join(rule.scheme for rule in naming)
    doubt = all(rule.with_fever for rule in naming) and not known
    said = f" ({_(NO_TEMPERATURE)})" if doubt else ""
    return _("{case}{said}, out until she is written well again ({schemes})").format(
        case=case, said=said, schemes=schemes
    )
