"""Proof by the days after a visit: what a proof document says, and which visits it proves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wringout.errors import InputError
from wringout.history.visits import Visit

__all__ = ["PROOF_FORMAT", "HeldProof", "proof_of", "proven_visits", "still_proven"]

PROOF_FORMAT = "wringout-proof/1"


@dataclass(frozen=True)
class HeldProof:
    """What a proof document says of a repair: its ``verdict``, and from when to when it speaks, by the clock
    of the place. ``begin`` is the repair, or the first day where nothing was changed."""

    verdict: str
    begin: datetime
    end: datetime


def proof_of(tree: object, place: str) -> HeldProof:
    """Read a proof document.

    Parameters
    ----------
    tree : object
        Its JSON, as `wringout prove --json` writes it.
    place : str
        What complaints call it.

    Returns
    -------
    HeldProof

    Raises
    ------
    InputError
        For another document, or one that does not say of when it speaks.
    """
    if not isinstance(tree, dict) or tree.get("format") != PROOF_FORMAT:
        raise InputError(f"wanted {PROOF_FORMAT}, as `wringout prove --json` writes it", f"{place}: format")
    try:
        repair = tree["repair"]
        begin, end = _clock(repair["at"] if repair else tree["from"]), _clock(tree["to"])
    except (KeyError, TypeError, ValueError):
        raise InputError("it does not say from when to when it speaks", place) from None
    return HeldProof(str(tree.get("verdict"))[:30], begin, end)


def _clock(text: Any) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=None)


def still_proven(proofs: Iterable[HeldProof]) -> tuple[HeldProof, ...]:
    """Give those that prove their repair: of each repair the one that has looked furthest counts.

    Parameters
    ----------
    proofs : iterable of HeldProof

    Returns
    -------
    tuple of HeldProof
        A repair that a longer log no longer proves has none.
    """
    furthest: dict[datetime, HeldProof] = {}
    for proof in proofs:
        known = furthest.get(proof.begin)
        if known is None or proof.end >= known.end:
            furthest[proof.begin] = proof
    return tuple(proof for proof in furthest.values() if proof.verdict == "proven")


def proven_visits(proof: HeldProof, visits: Sequence[Visit]) -> list[Visit]:
    """Give the visits within the days that a proof speaks of.

    Parameters
    ----------
    proof : HeldProof
    visits : sequence of Visit

    Returns
    -------
    list of Visit
    """
    return [visit for visit in visits if visit.first <= proof.end and proof.begin <= visit.last]
