"""Pictures of takes as SVG: one take on a page, all takes of a folder beside one another."""

from exporters.pictures.take_picture import TakePicture, picture_of
from exporters.pictures.takes_picture import TakesPicture

__all__ = ["TakePicture", "TakesPicture", "picture_of"]
