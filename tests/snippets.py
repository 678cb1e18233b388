"""What a reader of a page would copy: the code blocks of Markdown, and commands among them."""

from __future__ import annotations

import re
import shlex


def snippets(page: str, language: str) -> list[str]:
    """The code blocks of a language, in their order."""
    return re.findall(rf"```{language}\n(.*?)```", page, re.DOTALL)


def command_lines(page: str) -> list[list[str]]:
    """The words of every line of the shell blocks that runs headfit or changes the folder."""
    lines = [line for block in snippets(page, "sh") for line in block.splitlines()]
    told = [line.partition(" > ")[0] for line in lines if re.match(r"headfit |cd ", line)]
    return [shlex.split(line, comments=True) for line in told]
