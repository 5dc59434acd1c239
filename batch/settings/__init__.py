"""What a player can set, in ``takemill.toml``; every default carries its source.

Percentiles quoted here were measured on 456 annotated jazz solos, 11,082 phrases (Weimar
Jazz Database: Pfleiderer and others, "Inside the Jazzomat", 2017).
"""

from fnmatch import fnmatchcase

from pydantic import Field

from batch.settings.files import (
    FEWEST_CHAPTERS,
    MARKED,
    MOST_CHAPTERS,
    ChaptersBy,
    ChapterSettings,
    CountsFrom,
    CueColumn,
    CueSettings,
    Encode,
    ExportSettings,
    FrameRate,
    LabelName,
    MarkerSettings,
    MarkerTrack,
    PageSettings,
    PictureSettings,
    SessionSettings,
    StatedMap,
    TimeBase,
)
from batch.settings.folders import FolderSettings, HearingSettings, TrendSettings, WatchSettings
from batch.settings.grid import RIVALS, Channel, GridSettings, SoundSettings
from batch.settings.listening import (
    GrooveSettings,
    HeldSettings,
    LabelSettings,
    RelationSettings,
    TensionSettings,
    VarietySettings,
)
from batch.settings.values import CONTRADICTION, Section

__all__ = [
    "CONTRADICTION",
    "FEWEST_CHAPTERS",
    "MARKED",
    "MOST_CHAPTERS",
    "Channel",
    "ChapterSettings",
    "ChaptersBy",
    "CountsFrom",
    "CueColumn",
    "CueSettings",
    "Encode",
    "ExportSettings",
    "FolderSettings",
    "FrameRate",
    "GridSettings",
    "GrooveSettings",
    "HearingSettings",
    "HeldSettings",
    "LabelName",
    "LabelSettings",
    "MarkerSettings",
    "MarkerTrack",
    "PageSettings",
    "PictureSettings",
    "RelationSettings",
    "SessionSettings",
    "Settings",
    "SoundSettings",
    "StatedMap",
    "TensionSettings",
    "TimeBase",
    "TrendSettings",
    "VarietySettings",
    "WatchSettings",
]


class Settings(Section):
    """Everything in ``takemill.toml``. ``takes`` overrides ``grid`` for names that match a pattern."""

    grid: GridSettings = GridSettings()
    takes: dict[str, GridSettings] = Field(default_factory=dict)
    sound: SoundSettings = SoundSettings()
    labels: LabelSettings = LabelSettings()
    groove: GrooveSettings = GrooveSettings()
    tension: TensionSettings = TensionSettings()
    held: HeldSettings = HeldSettings()
    variety: VarietySettings = VarietySettings()
    relations: RelationSettings = RelationSettings()
    markers: MarkerSettings = MarkerSettings()
    cues: CueSettings = CueSettings()
    session: SessionSettings = SessionSettings()
    page: PageSettings = PageSettings()
    picture: PictureSettings = PictureSettings()
    export: ExportSettings = ExportSettings()
    chapters: ChapterSettings = ChapterSettings()
    folder: FolderSettings = FolderSettings()
    hearing: HearingSettings = HearingSettings()
    watch: WatchSettings = WatchSettings()
    trend: TrendSettings = TrendSettings()

    def grid_for(self, file_name: str) -> GridSettings:
        """Return the grid settings of one take; a later pattern wins over an earlier one."""
        chosen = self.grid.model_dump(exclude_unset=True)
        for pattern, override in self.takes.items():
            if fnmatchcase(file_name, pattern):
                said = override.model_dump(exclude_unset=True)
                gone = {rival for key in said for rival in RIVALS.get(key, ())}
                chosen = {key: value for key, value in chosen.items() if key not in gone} | said
        return GridSettings(**chosen)
