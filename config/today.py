"""What the frame itself answers on the day sheets: whether everything is running."""

from datetime import datetime

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.day_sheet import Line, Press, ask
from config.roles import OFFICE, OWNER
from config.running.checks import quick_checks


def running(at: datetime) -> Line:
    """Whether jobs, backup and seals are as they should be."""
    wrong = [check for check in quick_checks(at) if not check.is_well]
    url = reverse("running")
    if not wrong:
        says = _("Jobs, backup and seals are as they should be.")
        return Line(word=_("running"), form="released", says=says, url=url)
    first = wrong[0]
    says = f"{first.name}: {first.says}"
    return Line(
        word=_("look"),
        form="held",
        says=says,
        url=url,
        act=first.act,
        press=Press.LOOK,
    )


ask({OFFICE: 6, OWNER: 4}, N_("The service"), running)
