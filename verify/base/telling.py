"""What a person is told, as blocks that a terminal, a notebook and plain text all show.

Blocks of one group follow each other closely; groups have an empty line between them.
"""

import textwrap
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby
from typing import Final

from verify.base.cautions import summary

#: How many columns plain text fills by default.
COLUMNS: Final = 80
#: The width of output that has no columns: lines are never broken.
NO_LIMIT: Final = 1_000_000
_BETWEEN_COLUMNS: Final = "  "
_NO_BREAK: Final = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True, slots=True)
class Passage:
    """Running text. `marker` stands before its first line; later lines begin below the text."""

    text: str
    indent: str = ""
    marker: str = ""
    is_heading: bool = False


@dataclass(frozen=True, slots=True)
class TextTable:
    """A table; with `numbers`, all columns but the first are aligned on the right."""

    headings: Sequence[str]
    rows: Sequence[Sequence[str]]
    numbers: bool = False


@dataclass(frozen=True, slots=True)
class Alarm:
    """A warning, shown first and in the strongest style, with `groups` of text below its title."""

    title: str
    groups: Sequence[Sequence[Passage]]


Block = Passage | TextTable | Alarm
Group = Sequence[Block]


def heading(text: str, indent: str = "") -> Passage:
    """Return a passage that stands out."""
    return Passage(text, indent, is_heading=True)


def cautions_group() -> Group:
    """Return the cautions as one paragraph, which ends every text about a circuit."""
    return [Passage(f"Cautions: {summary()}")]


def plain(
    groups: Iterable[Group],
    columns: int = COLUMNS,
    strong: Callable[[str], str] = str,
    loud: Callable[[str], str] = str,
) -> str:
    """Return groups as lines of text.

    `strong` makes headings stand out, `loud` the title of an alarm; `columns` is the width.
    """

    def block_text(block: Block) -> str:
        if isinstance(block, TextTable):
            return grid_text(block, strong)
        if isinstance(block, Alarm):
            rule = loud("!" * columns)
            title = loud(filled(block.title.upper(), columns, "    ", "!!! "))
            return "\n".join((rule, title, rule, plain(block.groups, columns, strong), rule))
        return _plain_words(block, columns, strong)

    return "\n\n".join("\n".join(map(block_text, group)) for group in groups)


def _plain_words(block: Passage, columns: int, strong: Callable[[str], str]) -> str:
    below = block.indent + " " * len(block.marker)
    text = filled(block.text, columns, below, block.indent + block.marker)
    return strong(text) if block.is_heading else text


def listed(items: Iterable[str]) -> str:
    """Return items with commas between them, so joined that lines break only between items."""
    return ", ".join(item.replace(" ", _NO_BREAK) for item in items)


def filled(text: str, columns: int, indent: str = "", first: str | None = None) -> str:
    """Return running text, wrapped; `first` stands before the first line in place of `indent`."""
    lines = textwrap.fill(
        text,
        columns,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,  # names have many hyphens, and must not be broken there
    )
    return lines.replace(_NO_BREAK, " ")


def grid_text(grid: TextTable, strong: Callable[[str], str] = str) -> str:
    """Return a table as lines of text, its columns as wide as their content."""
    every = [grid.headings, *grid.rows]
    widths = [max(map(_cells, column)) for column in zip(*every, strict=True)]
    lines = []
    for row in every:
        padded = [
            padding + text if grid.numbers and number else text + padding
            for number, (text, width) in enumerate(zip(row, widths, strict=True))
            for padding in [" " * (width - _cells(text))]
        ]
        lines.append(_BETWEEN_COLUMNS.join(padded).rstrip())
    rule = _BETWEEN_COLUMNS.join("-" * width for width in widths)
    return "\n".join((strong(lines[0]), rule, *lines[1:]))


def grid_width(headings: Sequence[str], longest_cell: int) -> int:
    """Return the width of a table whose cells have at most `longest_cell` characters."""
    widths = [max(_cells(text), longest_cell) for text in headings]
    return sum(widths) + len(_BETWEEN_COLUMNS) * (len(widths) - 1)


def _cells(text: str) -> int:
    """Return how many columns of a terminal a text takes; names may be of any script."""
    return sum(
        0 if unicodedata.combining(letter) else 2 if _is_wide(letter) else 1 for letter in text
    )


def _is_wide(letter: str) -> bool:
    return unicodedata.east_asian_width(letter) in "WF"


def html(groups: Iterable[Group]) -> str:
    """Return groups as HTML for a notebook: escaped, without scripts and without remote files."""
    return f"<section>{''.join(part for group in groups for part in _html_group(group))}</section>"


def _html_group(group: Group) -> Iterator[str]:
    def is_item(block: Block) -> bool:
        return isinstance(block, Passage) and bool(block.marker)

    for are_items, blocks in groupby(group, is_item):
        parts = "".join(map(_html_block, blocks))
        yield f"<ul>{parts}</ul>" if are_items else parts


def _html_block(block: Block) -> str:
    if isinstance(block, Alarm):
        parts = "".join(part for group in block.groups for part in _html_group(group))
        style = "border: 4px double; border-left-width: 1rem; padding: 0 1rem"
        title = f"<h3>\N{WARNING SIGN} {escape(block.title)}</h3>"
        return f'<section role="alert" style="{style}">{title}{parts}</section>'
    if isinstance(block, TextTable):
        head = "".join(f'<th scope="col">{escape(text)}</th>' for text in block.headings)
        rows = "".join(
            f"<tr>{''.join(f'<td>{escape(text)}</td>' for text in row)}</tr>" for row in block.rows
        )
        return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
    level = "h4" if block.indent else "h3"
    tag = level if block.is_heading else "li" if block.marker else "p"
    return f"<{tag}>{escape(block.text)}</{tag}>"
