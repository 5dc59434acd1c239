"""Text of a user's files that only shows itself: names and tags may hold what programs obey."""

_SHOWN_INSTEAD = "?"

_FORMULA_STARTS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
"""A spreadsheet runs a cell that starts so, some in full width too (OWASP, "CSV Injection"; from memory)."""

_LONGEST_TITLE = 200
"""Characters of a title kept; it is for a table cell, not a store (our choice)."""


def inert(text: str) -> str:
    """Return text with a question mark for what no eye sees: control and bidi characters, line ends.

    A terminal obeys the first (ECMA-48), readers are led astray by the second (Unicode Technical
    Report 36, 2.10), and XML 1.0 (2.2) has no place for many. JSON's escapes keep them as they are.
    """
    return "".join(c if c.isprintable() else _SHOWN_INSTEAD for c in text)


def inert_cell(text: str) -> str:
    """Return inert text that no spreadsheet takes for a formula: with an apostrophe where it might."""
    shown = inert(text)
    return f"'{shown}" if shown.lstrip().startswith(_FORMULA_STARTS) else shown


def title_of(text: str) -> str | None:
    """Return a tag's text as a title: one inert line of a sane length; None where nothing is left."""
    shown = "".join(c if c.isprintable() else " " for c in text[: 20 * _LONGEST_TITLE])
    return " ".join(shown.split())[:_LONGEST_TITLE].rstrip() or None
