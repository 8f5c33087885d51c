"""The cautions: what can hurt where somebody measures or mends, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from wringout.catalogue._package_data import read

__all__ = ["ALWAYS", "Care", "cares", "cares_for"]

ALWAYS = "local_rules"


@dataclass(frozen=True, slots=True)
class Care:
    """One group of cautions.

    Parameters
    ----------
    id : str
        The id of the documents, or ``local_rules``.
    title : str
        A few words for a heading.
    when : str
        When it is shown.
    text : tuple of str
        The cautions, one sentence or two each.
    """

    id: str
    title: str
    when: str
    text: tuple[str, ...]


@cache
def cares() -> Mapping[str, Care]:
    """Every group of cautions by its id.

    Returns
    -------
    Mapping
        Id to `Care`; read once, and read-only.
    """
    return MappingProxyType(
        {
            id: Care(id, entry["title"], entry["when"], tuple(entry["text"]))
            for id, entry in read("cares.yaml")["cares"].items()
        }
    )


def cares_for(ids: Iterable[str]) -> tuple[Care, ...]:
    """The cautions to show for some advice, the local rules first, each once.

    Parameters
    ----------
    ids : iterable of str
        Ids of cautions, for example those of the points to read and of the remedy; may repeat.

    Returns
    -------
    tuple of Care
        In the order of the catalogue.

    Raises
    ------
    KeyError
        For an id that the catalogue does not have.
    """
    wanted = {ALWAYS, *ids}
    unknown = wanted.difference(cares())
    if unknown:
        raise KeyError(f"no such care: {', '.join(sorted(unknown))}")
    return tuple(care for id, care in cares().items() if id in wanted)
