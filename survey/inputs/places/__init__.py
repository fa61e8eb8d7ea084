"""Places on faces: what a plan says of walls, roofs and rooms, turned into sheets, boxes and points."""

from survey.inputs.places.joints import joined
from survey.inputs.places.layout import Extra, Layout, laid_out
from survey.inputs.places.parts import merged

__all__ = ["Extra", "Layout", "joined", "laid_out", "merged"]
