"""The catalogue's own files. They are part of the package, as fixed as its code."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

__all__ = ["read"]


def read(name: str) -> dict[str, Any]:
    """One YAML file of the catalogue.

    Parameters
    ----------
    name : str
        The file's name in this folder.

    Returns
    -------
    dict
        The document as it stands.
    """
    import yaml  # late: commands that need no catalogue start without it

    # The C parser is about ten times as fast, and a command that weighs readings waits for it.
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    document: dict[str, Any] = yaml.load(
        files(__package__).joinpath(name).read_text(encoding="utf-8"), loader
    )
    return document
