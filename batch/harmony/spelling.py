"""Spellings of chord symbols, brought to those that pychord reads: ``C-Δ7`` is ``Cmmaj7``."""

import re

_SIGNS = str.maketrans({"♭": "b", "♯": "#", "𝄫": "bb", "𝄪": "##", "−": "-", "–": "-", "‑": "-", "△": "Δ",
                        "∆": "Δ", "º": "°", "⌀": "ø", "Ø": "ø"})  # fmt: skip
_SPELLINGS: tuple[tuple[str, str], ...] = (
    (r"6(?:/|,|add)9", "69"),
    (r"/(?=[^()]*\))", ""),  # between tensions in brackets
    (r"7M(?![aAiI])", "M7"),
    (r"/(?=maj|Maj|M7|Δ)", ""),
    (r"[(){},. ]|\\", ""),
    (r"(?i:half-?dim7?|hdim7?)", "m7b5"),
    (r"ø7?|^h7?$", "m7b5"),
    (r"(?i:diminished)|°|^o(?=7|$)", "dim"),
    (r"(?i:augmented)|^\+(?=$|[79(]|maj|M|Δ)", "aug"),
    (r"(?:Δ|\^|^j)(?!7|9|11|13)", "maj7"),
    (r"Δ|\^|^j", "maj"),
    (r"(?i:major|maj)|Ma|MA|ma(?!dd)", "maj"),
    (r"M(?=$|\d)", "maj"),
    (r"(?i:minor|min)|mi(?!t)|Mi|MI|^-", "m"),
    (r"(?i:dominant|dom)(?=\d)", ""),
    (r"\+$", "#5"),
    (r"^maj$", ""),
)
"""Other spellings, in a regular expression's terms, and pychord's; in this order."""


def plain_signs(symbol: str) -> str:
    """Return a symbol with the signs of print as they are typed."""
    return symbol.translate(_SIGNS)


def spelled(quality: str) -> str:
    """Return what follows a chord's root in pychord's spelling."""
    for pattern, spelling in _SPELLINGS:
        quality = re.sub(pattern, spelling, quality)
    return quality
