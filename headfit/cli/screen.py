"""What a command says: sentences and tables for a person, or one JSON result for a machine."""

from __future__ import annotations

import json
import sys
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from headfit.errors import HeadfitError, plain_text

if TYPE_CHECKING:
    from rich.console import Console


class Screen:
    """Where a command speaks.

    Parameters
    ----------
    as_json : bool
        Only `result` prints, and only JSON; complaints still go to standard error.
    """

    def __init__(self, *, as_json: bool = False) -> None:
        self.as_json = as_json
        self._console: Console | None = None

    @property
    def console(self) -> Console:
        """The rich console on standard output; no markup, since labels are anybody's text."""
        if self._console is None:
            from rich.console import Console

            self._console = Console(markup=False, highlight=False, emoji=False)
        return self._console

    def say(self, text: str = "", style: str = "") -> None:
        """Print a sentence; wrapped to the window of a person, one line in a file or pipe."""
        self._print(plain_text(text), style)

    def _print(self, text: str, style: str = "") -> None:
        if self.as_json:
            return
        if sys.stdout.isatty():
            self.console.print(text, style=style or None)
        else:  # nobody to wrap for, and rich takes a twentieth of a second to load
            print(text)  # noqa: T201

    def listed(self, sentences: Sequence[str]) -> None:
        """Print sentences as a list with hanging indents."""
        for text in sentences:
            width = self.console.width if sys.stdout.isatty() else 10_000
            lines = textwrap.wrap(
                plain_text(text), width, initial_indent=" - ", subsequent_indent="   "
            )
            self._print("\n".join(lines))

    def table(self, header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Print a table: the first column to the left, numbers to the right."""
        if not self.as_json:
            from rich.box import SIMPLE_HEAD
            from rich.table import Table

            table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False)
            for i, title in enumerate(header):
                table.add_column(
                    plain_text(title), justify="right" if i else "left", no_wrap=bool(i)
                )
            for row in rows:
                table.add_row(*map(plain_text, row))
            self.console.print(table)

    @contextmanager
    def doing(self, what: str) -> Iterator[None]:
        """Show what is going on while it goes on, on a terminal only."""
        if self.as_json or not sys.stderr.isatty():
            yield
            return
        from rich.console import Console

        with Console(stderr=True).status(what):
            yield

    def result(self, found: Mapping[str, object] | Sequence[object]) -> None:
        """Print the result for a machine, when that was asked for."""
        if self.as_json:
            # A machine gets every letter back: escaped where the output cannot hold it.
            escaped = not (sys.stdout.encoding or "").casefold().startswith("utf")
            text = json.dumps(found, ensure_ascii=escaped, allow_nan=False)
            if not text.isprintable():  # signs that would steer a terminal
                text = "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in text)
            print(text)  # noqa: T201

    def warn(self, text: str) -> None:
        """Say something on standard error."""
        print(f"headfit: {plain_text(text)}", file=sys.stderr)  # noqa: T201

    def fail(self, error: HeadfitError) -> None:
        """Say what is wrong in one sentence; a machine also gets the stable code."""
        self.warn(str(error))
        self.result({"error": {"code": error.code, "message": str(error)}})
