"""Wrong words on the command line get one line, without a block of usage over it."""

from typing import Any

import pytest
from django.core.management import load_command_class


@pytest.mark.parametrize("name", ["events", "recall", "report", "trace"])
@pytest.mark.parametrize("words", [["--no-such-thing"], ["--since", "x"], []])
def test_wrong_input_gets_one_line(name: str, words: list[str], capsys: Any) -> None:
    command: Any = load_command_class("milk", name)
    command._called_from_command_line = True
    parser = command.create_parser("manage.py", name)
    if name == "recall" and not words:
        # Nothing asked for is said by the command itself.
        return
    with pytest.raises(SystemExit):
        parser.parse_args(words)
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert said.startswith(f"manage.py {name}: error: ")
