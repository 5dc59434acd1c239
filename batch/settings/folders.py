"""Which files are takes, when they are heard, and how they are followed over weeks."""

from typing import Annotated

from pydantic import AfterValidator, Field, StringConstraints

from batch.naming import parse
from batch.settings.values import Section

Pattern = Annotated[
    str,
    StringConstraints(pattern=r"^[^\x00]*[^\x00./][^\x00]*$"),
    Field(json_schema_extra={"allowed": '"*.wav"'}),
]


class FolderSettings(Section):
    """Which files of a folder are takes, and in which order they are heard.

    Patterns are those of a shell, for a file's name, or for the end of its path where they hold a
    slash: ``"*.flac"``, ``"rehearsals/*.wav"``. A take that is named itself is heard whatever they say.
    """

    subfolders: bool = False
    """Take what lies in folders below as well; not in hidden ones, nor behind links."""
    include: Annotated[tuple[Pattern, ...], Field(min_length=1, strict=False)] = ("*",)
    exclude: Annotated[tuple[Pattern, ...], Field(strict=False)] = ()
    """Files, and with ``subfolders`` folders, to leave alone."""
    newest_first: bool = False
    """Hear what was recorded last first."""


class HearingSettings(Section):
    """How takes are heard, whatever is heard in them."""

    time_limit_s: Annotated[float, Field(ge=1, le=7 * 86_400, allow_inf_nan=False)] = 1800.0
    """How long one take may be worked on. Hearing runs at many times real time: no take a day long comes
    near it, and a file that a library never comes back from holds the others up no longer (our choice)."""


class WatchSettings(Section):
    """When the watcher takes a recording for finished."""

    settle_s: Annotated[float, Field(ge=0.1, le=3600)] = 2.0
    paused_s: Annotated[float, Field(ge=0, le=86_400)] = 60.0
    """How long a file must stand still that a program still has open for writing: a recorder on pause,
    or a recording program that closes its takes late (our choice; noticed on Linux alone)."""
    poll: bool = False
    """Look for changes at intervals, for network shares that report none."""


def _parses(pattern: str) -> str:
    parse(pattern)
    return pattern


_NAMES = (
    "a pattern with {tune}, {player} or {date}, once each, text between any two of them, and * for what is "
    'neither: "{date} {tune} take*", "{player}/{tune} *"'
)
NamesPattern = Annotated[str, AfterValidator(_parses), Field(json_schema_extra={"allowed": _NAMES})]


class TrendSettings(Section):
    """How takes are followed over weeks, and when there is enough of them to say something."""

    names: NamesPattern | None = None
    """How takes are named: of their files' names without the ending, or of the end of their paths where it
    holds a slash. Otherwise titles, tags and names tell what they can."""
    takes_from: Annotated[int, Field(ge=2)] = 4
    """Fewer takes make no trend: with three, one odd evening is a third of all there is (our choice)."""
    last_takes: Annotated[int, Field(ge=1)] = 10
    """How many of the last takes are looked through for what to practise: a few evenings (our choice)."""
    phrases_from: Annotated[int, Field(ge=1)] = 30
    """Phrases that these must hold: with fewer, not even what half of all phrases do is surely left out in
    takes that are each of a piece (our choice)."""
