"""What a session looks like afterwards: when the readings said what was hidden, and the best way there.

No marks are given. Beside what was done stands what the next check would have been, and beside the whole
way the one that follows the next check from the walk-up readings on, answered by the same machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from wringout.practising.call import call_of, state_of
from wringout.practising.hidden import Hidden
from wringout.practising.session import WALK_UP, Act, Session, act, held, spent, walked_up
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.next_check import Check

__all__ = ["ENOUGH", "Step", "best_way", "first_said", "named", "own_way"]

SEED = 0  # as `wringout weigh` weighs, so that it gives the same figures
ENOUGH = 0.8  # four in five: what people act on
PATIENCE = 12  # checks of the best way
WORTH_ASKING = 0.05  # bits


@dataclass(frozen=True)
class Step:
    """After some act: minutes gone by, the probability that exactly the hidden causes are what is wrong, the
    likeliest set with its own, and the check that would tell most per minute from here (None where none is
    worth its minutes)."""

    minutes: float
    act: Act | None
    state: str
    hidden: float
    likeliest: tuple[str, ...]
    probability: float
    following: Check | None


def _weighed(session: Session, hidden: Hidden, checks: bool = True) -> Answer:
    return weigh(call_of(session, hidden), hidden.chance(SEED), checks=checks)


def _step(session: Session, hidden: Hidden, one: Act | None) -> Step:
    answer = _weighed(session, hidden)
    truth = tuple(sorted(hidden.causes.causes))
    share = sum(found.probability for found in answer.sets if found.causes == truth)
    best = answer.sets[0]
    following = next((check for check in answer.next if check.gain_bits >= WORTH_ASKING), None)
    return Step(spent(session), one, state_of(session), share, best.causes, best.probability, following)


def named(session: Session) -> tuple[str, ...]:
    """The causes that were named at the end, sorted.

    Parameters
    ----------
    session : Session

    Returns
    -------
    tuple of str
        Empty where nothing was named, or nothing yet.
    """
    return next((tuple(sorted(set(one.what.split()))) for one in session.acts if one.kind == "name"), ())


def own_way(session: Session, hidden: Hidden) -> Iterator[Step]:
    """Weigh a session after the walk-up readings and after each reading since.

    Parameters
    ----------
    session : Session
    hidden : Hidden

    Yields
    ------
    Step
        The first without an act.
    """
    first = len(WALK_UP)
    yield _step(replace(session, acts=session.acts[:first]), hidden, None)
    for k in range(first, len(session.acts)):
        if session.acts[k].kind == "read":
            yield _step(replace(session, acts=session.acts[: k + 1]), hidden, session.acts[k])


def best_way(session: Session, hidden: Hidden) -> Iterator[Step]:
    """Follow the next check from the walk-up readings on, answered by the same machine.

    Parameters
    ----------
    session : Session
        Whose machine it is; what was done in it does not matter.
    hidden : Hidden

    Yields
    ------
    Step
        Until one set of causes has the probability ENOUGH, no check is worth its minutes, or after PATIENCE
        checks.
    """
    here = walked_up(replace(session, acts=()), hidden)
    step = _step(here, hidden, None)
    yield step
    for _ in range(PATIENCE):
        if step.following is None or step.probability >= ENOUGH:
            return
        check = step.following
        here = act(_in_state(here, hidden, check.state), hidden, Act("read", check.point))
        step = _step(here, hidden, here.acts[-1])
        yield step


def _in_state(session: Session, hidden: Hidden, state: str) -> Session:
    """The session with the machine brought into a state."""
    if state_of(session) == state:
        return session
    item, _, share = state.partition("=")
    now = held(session)
    if now is not None and now[0] != item:
        session = act(session, hidden, Act("release"))
    if state == "auto":
        return session
    return act(session, hidden, Act("force", item, float(share.removesuffix("%")) / 100.0))


def first_said(steps: list[Step], least: float) -> Step | None:
    """The first step from which on the hidden causes are held at least so probable.

    Parameters
    ----------
    steps : list of Step
    least : float, [0..1]

    Returns
    -------
    Step or None
    """
    since: Step | None = None
    for step in steps:
        if step.hidden < least:
            since = None
        elif since is None:
            since = step
    return since
