"""Where the record stands when nobody says."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

__all__ = ["SETTING", "usual_place"]

SETTING = "WRINGOUT_STORE"


def usual_place(settings: Mapping[str, str], platform: str, home: Path) -> Path:
    """The file of the record.

    Parameters
    ----------
    settings : mapping
        The environment: WRINGOUT_STORE names the file itself, XDG_DATA_HOME or LOCALAPPDATA the folder for
        data.
    platform : str
        As in ``sys.platform``.
    home : Path
        The person's own folder.

    Returns
    -------
    Path
        Always an absolute path, or the one named.
    """
    if settings.get(SETTING):
        return Path(settings[SETTING])
    if platform == "win32":
        folder = Path(settings.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif platform == "darwin":
        folder = home / "Library" / "Application Support"
    else:
        named = Path(settings.get("XDG_DATA_HOME") or "")  # the standard has relative paths ignored
        folder = named if named.is_absolute() else home / ".local" / "share"
    return folder / "wringout" / "records.sqlite"
