"""Which sound file beside a take is its companion: the click or the backing it was played to."""

from collections.abc import Iterable, Iterator, Mapping
from fnmatch import fnmatchcase
from pathlib import Path

from batch.settings import GridSettings, Settings

COMPANION_ENDINGS = (".click", ".backing")
"""``NAME.click.wav`` and ``NAME.backing.mp3`` beside ``NAME.wav`` are its companions, the click first."""

TAKE = "{take}"
"""What stands for the take's name in ``grid.companion``."""


def companion_of(take: Path, chosen: GridSettings, beside: Mapping[str, Path]) -> Path | None:
    """Return the companion of ``take``; None where there is none.

    Parameters
    ----------
    take : Path
    chosen : GridSettings
        Those of the take: they may name its companion.
    beside : mapping of str to Path
        Other companions in the folder by case-folded stem, as :func:`by_stem` has them.
    """
    if chosen.companion is not None:
        named = take.with_name(chosen.companion.replace(TAKE, take.stem))
        return named if named.is_file() and named != take else None
    wanted = (f"{take.stem}{ending}".casefold() for ending in COMPANION_ENDINGS)
    return next((beside[stem] for stem in wanted if stem in beside), None)


def by_stem(sounds: Iterable[Path]) -> dict[str, Path]:
    """Return the files that by their name are companions, by case-folded stem."""
    return {path.stem.casefold(): path for path in sorted(sounds, reverse=True) if _ends_so(path)}


def is_companion_name(name: str, settings: Settings) -> bool:
    """Return whether a sound file of this name is a companion in a folder with these settings."""
    return _ends_so(Path(name)) or any(fnmatchcase(name, pattern) for pattern in _patterns(settings))


def _ends_so(path: Path) -> bool:
    return path.stem.casefold().endswith(COMPANION_ENDINGS)


def _patterns(settings: Settings) -> Iterator[str]:
    for section in (settings.grid, *settings.takes.values()):
        if section.companion is not None:
            literal = "".join(f"[{c}]" if c in "*?[" else c for c in section.companion)
            yield literal.replace(TAKE, "*")
