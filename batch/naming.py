"""Which tune a take is of and who plays it: a pattern in the settings, its tags, its name, its folder."""

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from batch.inert import title_of
from batch.names import fold

FIELDS = ("tune", "player", "date")

_HOLE = re.compile(r"(\{[^{}]*\}|\*)")
_DATE = re.compile(r"\d{4}[-_. ]?\d\d[-_. ]?\d\d")
_BARE_DATE = re.compile(rf"(?<!\d){_DATE.pattern}(?:[T _-]?\d{{4,6}})?(?!\d)")
_DAY_FIRST = re.compile(r"(?<!\d)\d\d([-_.])\d\d\1\d{4}(?!\d)")
"""It may be month first as well, so it dates nothing."""
_MONTH = re.compile(r"(?<!\d)\d{4}[-_. ]\d\d(?!\d)")
_TAKE = r"(?:take|tk)[\s_.#-]*"
_TAKE_ALONE = rf"(?:take[\s_.#-]*\d*|{_TAKE}\d+)"
_COUNTED = re.compile(
    rf"[\s_.-]*(?:[(\[]\s*(?:{_TAKE})?\d+\s*[)\]]|(?<![^\W_]){_TAKE_ALONE})\s*$", re.IGNORECASE
)
_NUMBERED = re.compile(r"[\s_.#-]+\d{1,4}\s*$")
_SURELY_NUMBERED = re.compile(r"(?:[\s_.-]+0\d{1,3}|[\s_.-]*#\s*\d{1,4})\s*$")
"""No tune ends so: ``_03``, ``#3``. Of other numbers, only the takes beside it tell: ``Route 66``."""
_TRACK = re.compile(r"^\s*\d{1,3}(?:\s*(?:[_)]|\.(?!\d))\s*|\s+-\s+)")
_EDGES = " \t_-.,;#"


@dataclass(frozen=True, slots=True)
class Named:
    """What a take is a take of, and who plays; None where nothing says so. ``date`` is text in a name.

    ``fits`` is whether a pattern told.
    """

    tune: str | None
    player: str | None
    date: str | None = None
    fits: bool = False


def named(
    path: Path,
    title: str | None,
    player: str | None,
    pattern: str | None = None,
    *,
    top: Path | None = None,
    stems: Collection[str] = (),
) -> Named:
    """Return the tune and the player of a take whose tags have this title and player.

    What ``pattern`` finds comes first. Else the tune is the title, or the file's name, without a take's
    number, and the player is the tag's, or the name of a folder under ``top``. ``stems`` are names that
    several takes share but for a number at their end (:func:`stems_of`).
    """
    found = read(pattern, path) if pattern else {}
    return Named(
        tune=_shown(found.get("tune")) or _tune_of(path, title, stems),
        player=_shown(found.get("player")) or player or _player_of(path.parent, top),
        date=found.get("date"),
        fits=bool(found),
    )


def stems_of(paths: Iterable[Path]) -> frozenset[str]:
    """Return what names are without the number at their end, where that leaves several takes one name."""
    bare = {fold(_bare(path)).strip(_EDGES) for path in paths}
    sharing = Counter(bare)
    sharing.update(stem for name in bare if (stem := _unnumbered(name)) != name)
    return frozenset(stem for stem, names in sharing.items() if names > 1)


def read(pattern: str, path: Path) -> dict[str, str]:
    """Return what ``pattern`` finds in a file's name without its ending, or in the end of its path."""
    parsed = parse(pattern)
    folders = path.parent.parts[len(path.parent.parts) - parsed.folders :] if parsed.folders else ()
    return parsed.found_in("/".join([*folders, path.stem])) or {}


@dataclass(frozen=True, slots=True)
class NamePattern:
    """A text, then holes, each with the text that follows it; ``*`` is a hole whose content goes."""

    start: str
    holes: tuple[tuple[str, str], ...]

    @property
    def folders(self) -> int:
        """How many folders it begins with."""
        return sum(text.count("/") for text in (self.start, *(after for _, after in self.holes)))

    def found_in(self, told: str) -> dict[str, str] | None:
        """Return what the holes hold, each as short as can be; None if the text is another.

        The pattern's own text may be of another case. What was found to lead nowhere is not tried again,
        so that no name takes long.
        """
        text = _lower(told)
        dead: set[tuple[int, int]] = set()

        def rest(hole: int, at: int) -> dict[str, str] | None:
            if hole == len(self.holes):
                return {} if at == len(text) else None
            if (hole, at) in dead:
                return None
            name, after = self.holes[hole]
            for end in self._ends(hole, at, text):
                if (found := rest(hole + 1, end + len(after))) is not None:
                    return found if name == "*" else {name: told[at:end]} | found
            dead.add((hole, at))
            return None

        return rest(0, len(self.start)) if text.startswith(self.start) else None

    def _ends(self, hole: int, at: int, text: str) -> Iterator[int]:
        """Yield where a hole that begins at ``at`` may end: before the text that follows it."""
        name, after = self.holes[hole]
        if name == "date":
            if (match := _DATE.match(text, at)) and text.startswith(after, match.end()):
                yield match.end()
            return
        folder = text.find("/", at)
        last = len(text) if folder < 0 else folder
        if hole == len(self.holes) - 1:
            end = len(text) - len(after)
            if end >= at + (name != "*") and end <= last and text.endswith(after):
                yield end
            return
        end = text.find(after, at + (name != "*"))
        while 0 <= end <= last:
            yield end
            end = text.find(after, end + 1)


@lru_cache(64)
def parse(pattern: str) -> NamePattern:
    """Return a pattern such as ``{date} {tune} take *`` in its parts.

    Raises
    ------
    ValueError
        If it names nothing, or what there is not, or one thing twice, or two with nothing between them.
    """
    start, *pieces = _HOLE.split(pattern)
    names = [piece.strip("{}") for piece in pieces[::2]]
    texts = [start, *pieces[1::2]]
    fields = [name for name in names if name != "*"]
    is_sound = fields and len(fields) == len(set(fields)) and set(fields) <= set(FIELDS)
    if not is_sound or "" in texts[1:-1] or any(brace in text for text in texts for brace in "{}"):
        raise ValueError("no pattern")
    after = [_lower(text) for text in texts[1:]]
    return NamePattern(_lower(start), tuple(zip(names, after, strict=True)))


def _lower(text: str) -> str:
    """Return a text in small letters, each in its place: those that would become two stay."""
    return "".join(small if len(small := letter.lower()) == 1 else letter for letter in text)


def _player_of(folder: Path, top: Path | None) -> str | None:
    """Return the name of the nearest folder that is more than a date, below that of all takes."""
    for each in (folder, *folder.parents):
        if each == top:
            return None
        if not _is_date(each.name) and (name := _shown(each.name)):
            return name
    return None


def _is_date(name: str) -> bool:
    rest = name
    for dates in (_BARE_DATE, _DAY_FIRST, _MONTH):
        rest = dates.sub("", rest)
    return not rest.strip(_EDGES)


def _tune_of(path: Path, title: str | None, stems: Collection[str]) -> str | None:
    """Return a title without ``take 2`` or ``(2)``; of a file's name dates and plain numbers go as well."""
    if title:
        return _shown(_COUNTED.sub("", title)) or title
    bare = _bare(path)
    uncounted, counts = _COUNTED.subn("", f" {bare}")
    if counts:
        return _shown(uncounted)
    stem = _unnumbered(bare)
    return _shown(stem if fold(stem) in stems else _SURELY_NUMBERED.sub("", bare))


def _bare(path: Path) -> str:
    """Return a file's name without dates and a track's number in front."""
    undated = _DAY_FIRST.sub(" ", _BARE_DATE.sub(" ", path.stem))
    return _TRACK.sub("", undated).strip(_EDGES)


def _unnumbered(bare: str) -> str:
    return _NUMBERED.sub("", bare).strip(_EDGES)


def _shown(text: str | None) -> str | None:
    """Return a part of a name as a title; None where it says nothing."""
    shown = title_of((text or "").replace("_", " "))
    shown = shown.strip(_EDGES) if shown else None
    return None if not shown or shown.isdecimal() else shown
