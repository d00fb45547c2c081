"""Reading of the command line: a fault is one line that names the argument, the value and what is allowed."""

from __future__ import annotations

import argparse
import difflib
import re
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

__all__ = ["Parser"]


class Formatter(argparse.HelpFormatter):
    """Help whose paragraphs stay apart, with room for the names of options."""

    def __init__(self, prog: str, **settings: Any) -> None:
        super().__init__(prog, **({"max_help_position": 30} | settings))

    def add_argument(self, action: argparse.Action) -> None:
        """Room for the names of commands too, which stand further in."""
        super().add_argument(action)
        if isinstance(action, argparse._SubParsersAction):
            self._action_max_length += 2

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return "\n\n".join(super(Formatter, self)._fill_text(part, width, indent) for part in text.split("\n\n"))


class Parser(argparse.ArgumentParser):
    """`argparse.ArgumentParser` that says what is wrong in one line, without repeating the usage."""

    def __init__(self, *arguments: Any, **settings: Any) -> None:
        settings.setdefault("formatter_class", Formatter)
        super().__init__(*arguments, **settings)
        self._positionals.title = "arguments"
        if self.add_help:
            self._actions[0].help = "show this help"

    def error(self, message: str) -> NoReturn:
        """Say what is wrong and end with exit code 2."""
        print(f"{self.prog}: {self._plain(message)}", file=sys.stderr)
        sys.exit(2)

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        if action.choices is None or value in action.choices:
            return
        known = [str(choice) for choice in action.choices]
        near = difflib.get_close_matches(str(value), known, n=1)
        meant = f" Did you mean {near[0]!r}?" if near else ""
        name = "/".join(action.option_strings) or action.metavar or action.dest
        self.error(f"argument {name}: {value!r} is not known.{meant} Known: {', '.join(known)}.")

    def _plain(self, message: str) -> str:
        """Argparse's message in the words of the other messages."""
        if found := re.fullmatch(r"the following arguments are required: (.*)", message):
            return f"missing: {found[1]}; '{self.prog} --help' says what belongs there."
        if found := re.fullmatch(r"unrecognized arguments: (.*)", message):
            return self._unknown(found[1])
        if found := re.fullmatch(r"ambiguous option: (\S+) could match (.*)", message):
            return f"{found[1]} is the beginning of several options: {found[2]}."
        message = re.sub(r"^argument (?:-\w/)?(\S+): ", r"\1: ", message)
        if found := re.fullmatch(r"(\S+): expected (one argument|at least one argument|\d+ arguments?)", message):
            count = {"one argument": "a value", "at least one argument": "at least one value"}.get(
                found[2], found[2].replace("argument", "value")
            )
            return (
                f"{found[1]} needs {count} after it; text with spaces in quotation marks, a negative value as "
                f"{found[1]}=-5. '{self.prog} --help' explains it."
            )
        if found := re.fullmatch(r"(\S+): not allowed with argument (\S+)", message):
            return f"{found[1]} and {found[2]} do not go together: leave one out."
        if found := re.fullmatch(r"(\S+): ignored explicit argument (.*)", message):
            return f"{found[1]} takes no value: leave {found[2]} out."
        return message

    def _unknown(self, given: str) -> str:
        words = given.split()
        word = next((one for one in words if one.startswith("-")), "")
        if not word:
            return (
                f"{given!r} is one value too many; a value with spaces, such as '10 bar', needs quotation marks, and an option "
                "takes one value."
            )
        name = word.partition("=")[0]
        near = difflib.get_close_matches(
            name, [text for action in self._actions for text in action.option_strings], n=1
        )
        meant = f" Did you mean {near[0]}?" if near else ""
        return f"{name} is no option here.{meant} '{self.prog} --help' lists them."

    def parse_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Read the command line; what is left over is told by the command that was named."""
        found, left = self.parse_known_args(args, namespace)
        if left:
            self.named(sys.argv[1:] if args is None else args).error(f"unrecognized arguments: {' '.join(left)}")
        return found

    def named(self, words: Sequence[str]) -> Parser:
        """The parser of the command that the words begin with."""
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction) and words and words[0] in action.choices:
                return action.choices[words[0]].named(words[1:])
        return self
