"""Which quarters one may ask for."""

from typing import Any

from django.utils import timezone

from herd.book_asked import LONGEST_OF_HERD, check_days
from herd.forms.medicine_book import DaysForm


class QuartersForm(DaysForm):
    """The quarters that these days lie in are taken whole."""

    def clean(self) -> Any:
        cleaned = super().clean()
        if not self.errors:
            today = timezone.localdate()
            since, until = self.cleaned_data["since"], self.cleaned_data["until"] or today
            check_days(since or until, until, today, LONGEST_OF_HERD)
        return cleaned
