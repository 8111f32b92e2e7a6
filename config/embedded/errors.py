"""What goes wrong with an embedded server."""


class EmbeddedError(RuntimeError):
    """An embedded server cannot be had; the words say what to do instead."""
