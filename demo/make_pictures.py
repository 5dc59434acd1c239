"""Draw the pictures that the README shows, from what the demo heard.

``python demo/make_pictures.py OUT PICTURES``: from the demo's output folder OUT into PICTURES.
"""

import sys
from pathlib import Path

from batch.contract import parse_analysis
from batch.entry import Entry, Scored, State, summarise
from batch.model import Analysis
from batch.names import ANALYSIS_SUFFIX
from batch.outline import outline_of
from batch.overview import Listed, Overview
from batch.rank import rank
from exporters.pictures import TakePicture, TakesPicture

TITLE = "An evening at the Copper Kettle"
SHOWN = "everything"


def pictures_of(out: Path) -> dict[str, bytes]:
    """Return the pictures by file name."""
    files = sorted(out.glob(f"*{ANALYSIS_SUFFIX}"))
    analyses = {
        file.name.removesuffix(ANALYSIS_SUFFIX): parse_analysis(file.read_bytes(), file) for file in files
    }
    one, all_of_them = TakePicture(), TakesPicture()
    return {
        f"{SHOWN}{one.suffix}": one.render(analyses[SHOWN]),
        all_of_them.file_name: all_of_them.render(overview_of(analyses)),
    }


def overview_of(analyses: dict[str, Analysis]) -> Overview:
    """Return the takes beside one another, as their folder's catalogue would list them."""
    heard = {
        name: summarise(Entry(Path(analysis.take.file), State.DONE, name=name), analysis)
        for name, analysis in analyses.items()
    }
    places = rank([Scored(name, entry.score, entry.low, entry.high) for name, entry in heard.items()])
    takes = [
        Listed(heard[place.file], place, outline_of(analyses[place.file]), (), analyses[place.file].take.file)
        for place in places
    ]
    return Overview(TITLE, tuple(takes), ())


def make_pictures(out: Path, pictures: Path) -> None:
    """Write the pictures."""
    pictures.mkdir(parents=True, exist_ok=True)
    for name, content in pictures_of(out).items():
        (pictures / name).write_bytes(content)


if __name__ == "__main__":
    make_pictures(Path(sys.argv[1]), Path(sys.argv[2]))
