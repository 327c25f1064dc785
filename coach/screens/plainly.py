"""Plain letters, for terminals that show others at twice their width."""

from __future__ import annotations

from textual.dom import DOMNode

_PLAIN = str.maketrans(
    {"·": "|", "→": "->", "←": "<-", "↑": "^", "↓": "v", "…": "...", "“": '"', "”": '"', "’": "'"}
)


def plain(text: str) -> str:
    """The same in plain letters."""
    return text.translate(_PLAIN)


def as_shown(node: DOMNode, text: str) -> str:
    """A text as it is to be shown in this app: in plain letters where that was asked for."""
    return plain(text) if node.app.has_class("-plain") else text
