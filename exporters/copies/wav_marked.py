"""A WAV file and some marks in, the same file with cue points out."""

from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

from batch.errors import TakeError
from batch.names import MADE_BY
from batch.regular import open_regular, size_of, unreadable
from exporters.copies.riff_copy import write_form
from exporters.copies.riff_form import read_form
from exporters.copies.wav_marks import Mark
from exporters.copies.wav_points import first_out_of_reach, read_points
from exporters.copies.wav_sound import read_sound

_FILLER = b"JUNK"
"""Chunk of no relevant data, which programs pass over (RIFF, chapter 2). It says who made the copy; a program
that writes the file anew drops it, and from then on the file is that program's."""


def write_marked(recording: Path, copy: BinaryIO, marks: Sequence[Mark]) -> None:
    """Write a recording with a cue point for each mark, a label, and a region where it is a stretch.

    Raises
    ------
    TakeError
        If the recording is no whole WAV file, has malformed cue points of its own, is coded so that none
        can point into it, or has a mark further from its start than they reach.
    """
    try:
        source = open_regular(recording)
    except OSError as error:
        raise unreadable(recording, error) from error
    with source:
        form = read_form(recording, source, size_of(source))
        sound = read_sound(form, source)
        theirs, replaced = read_points(form, source)
        if far := first_out_of_reach(marks, sound):
            problem = f"lasts longer than cue points reach (32 bits): '{far.name}' lies beyond"
            raise TakeError(recording, problem, "cut the recording in two, or use its cue list")
        points = theirs.with_marks(marks, sound)
        write_form(
            form,
            source,
            copy,
            without=replaced,
            added=(*points.chunks(), (_FILLER, MADE_BY.encode("ascii"))),
            frames=sound.frames_in(form.first(b"data").length),
        )
