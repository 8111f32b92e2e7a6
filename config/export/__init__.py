"""Everything of the book in open formats: CSV and JSON lines, with a dictionary of every column.

Nobody is locked in: what is written here can be read without this program.
"""


class ExportError(RuntimeError):
    """An export cannot be made; the words say why and what to do."""
