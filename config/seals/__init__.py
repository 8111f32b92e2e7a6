"""Sealed days: a chain of sums over everything that arrived, so that a change behind it is found.

A day (of UTC) is sealed once it is over: the sum of each kind's lines, and over those the day's
head, in which the head of the day before is contained. An entry belongs to the day on which it
*arrived*, a strike to the day on which it was struck. A late entry, a strike and a correction
therefore stand in the chain of the day they were made, and what was sealed before stays whole.

The database refuses changes by its triggers; whoever can switch those off can change a row, but
not without another head than the one that was printed.

Meter rows have no time of their own: beside them stands when those of a milking came (an app's own
source, ``reading.register``), and a line is the sum over what they said then. A row corrected later
says it in the correction, which is an entry.
"""
