"""Where the shelf stands when nobody says: in the folder of the record."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from wringout.records import place

__all__ = ["SETTING", "usual_place"]

SETTING = "WRINGOUT_SHELF"


def usual_place(settings: Mapping[str, str], platform: str, home: Path) -> Path:
    """The file of the shelf.

    Parameters
    ----------
    settings : mapping
        The environment: WRINGOUT_SHELF names the file itself; otherwise it stands beside the record.
    platform : str
        As in ``sys.platform``.
    home : Path
        The person's own folder.

    Returns
    -------
    Path
        The file named, or ``shelf.sqlite`` in the folder of the record.
    """
    if settings.get(SETTING):
        return Path(settings[SETTING])
    return place.usual_place(settings, platform, home).with_name("shelf.sqlite")
