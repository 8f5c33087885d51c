"""A mismatch as sentences; the face says how a number is written."""

from __future__ import annotations

from collections.abc import Callable

from wringout.ledger.entries import Amount, Ledger, Mismatch

__all__ = ["beside", "sentences"]

AGREES = 2.0  # standard deviations


def sentences(mismatch: Mismatch, show: Callable[[Amount], str]) -> tuple[str, ...]:
    """Say what does not add up.

    Parameters
    ----------
    mismatch : Mismatch
    show : callable
        Writes an amount with its unit and uncertainty.

    Returns
    -------
    tuple of str
        The figures; what they may mean; and, where they apply, what the part itself would do with the air
        that reaches it, and what was assumed.
    """
    figures = ", ".join(f"{figure.name} {show(figure.amount)}" for figure in mismatch.figures)
    size = Amount(abs(mismatch.difference.value), mismatch.difference.sigma, mismatch.difference.dimension)
    subject = mismatch.subject[:1].upper() + mismatch.subject[1:]
    said = [f"{subject}: {figures}; apart by {show(size)}, {mismatch.deviations:.1f} sigma."]
    said.append(mismatch.meaning)
    if mismatch.at_hand is not None:
        agrees = mismatch.at_hand_deviations < AGREES
        then = (
            "that agrees, so look before this part"
            if agrees
            else "that is no more like it, so look at this part and what drives it"
        )
        said.append(
            f"{mismatch.at_hand.name.capitalize()} would move {show(mismatch.at_hand.amount)}: {then}."
        )
    if mismatch.assumed:
        first = f"; read {_listed(mismatch.points)} first" if mismatch.points else ""
        said.append(f"Rests on what was assumed for {_listed(mismatch.assumed)}{first}.")
    return tuple(said)


def beside(ledger: Ledger) -> str:
    """Say how much was looked at, and what is apart no further than chance alone explains.

    Parameters
    ----------
    ledger : Ledger

    Returns
    -------
    str
    """
    many = f"{ledger.comparisons} difference{'' if ledger.comparisons == 1 else 's'} looked at"
    said = (
        f"{many}; with so many, those over {ledger.threshold:.1f} sigma are named (chance alone passes that "
        "in one sound call of ten)."
    )
    if ledger.slight:
        slight = ", ".join(f"{_told(item)} ({item.deviations:.1f})" for item in ledger.slight)
        said += f" Over two sigma, which chance explains as well: {slight}."
    return said


def _told(mismatch: Mismatch) -> str:
    if mismatch.kind in ("physics", "readings"):
        return mismatch.subject
    subject = mismatch.subject[:1].lower() + mismatch.subject[1:]
    return f"{subject} by {mismatch.figures[0].name} against {mismatch.figures[1].name}"


def _listed(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
