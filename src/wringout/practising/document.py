"""A practice session as a file: how it was drawn, never what was drawn, and everything done so far."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from wringout.catalogue.points import has_point, point
from wringout.documents.call import ITEMS
from wringout.documents.fields import Reader
from wringout.documents.load import require_format, unit_from_tree
from wringout.documents.measure import Measure
from wringout.documents.source import Branch, Items, Leaf, Node
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.practising.call import INVENTED
from wringout.practising.hidden import LEVELS, MOST_CAUSES, Chance, Hidden, draw, fingerprint
from wringout.practising.session import KINDS, NOT_HAD, Act, Session
from wringout.quantity import Dimension, parse

__all__ = ["PRACTICE_FORMAT", "session_from_tree", "session_tree"]

PRACTICE_FORMAT = "wringout-practice/1"
FIELDS = ("format", "about", "seed", "level", "causes", "drawn", "unit", "acts")


def session_tree(session: Session, hidden: Hidden) -> dict[str, Any]:
    """A session as a plain tree.

    Parameters
    ----------
    session : Session
    hidden : Hidden
        As drawn for it.

    Returns
    -------
    dict
        Text at every leaf.
    """
    tree: dict[str, Any] = {
        "format": PRACTICE_FORMAT,
        "about": f"{INVENTED}. What is hidden is drawn anew from seed, level and causes.",
        "seed": str(session.seed),
        "level": str(session.level),
    }
    if session.count is not None:
        tree["causes"] = str(session.count)
    tree["drawn"] = fingerprint(hidden)
    tree["unit"] = session.unit_document
    tree["acts"] = [_act_tree(one) for one in session.acts]
    return tree


def _act_tree(one: Act) -> dict[str, str]:
    if one.kind == "read":
        return {"read": one.what, "shown": one.shown}
    if one.kind == "force":
        return {"force": one.what, "to": f"{100.0 * one.to:.6g} %"}
    if one.kind == "wait":
        return {"wait": f"{one.what} min"}
    return {one.kind: one.what or "nothing"}


def session_from_tree(
    tree: Branch, name: str, plain: Callable[[Node], Any], chance: Chance
) -> tuple[Session, Hidden]:
    """Read a session, and draw again what is hidden in it.

    Parameters
    ----------
    tree : Branch
    name : str
        What complaints call the file.
    plain : callable
        Gives a node as a plain tree.
    chance : callable
        numpy.random.default_rng.

    Returns
    -------
    (Session, Hidden)

    Raises
    ------
    InputError
        For anything that must be mended, and for a session of another version of the program that draws
        another machine from the same number.
    """
    reader = Reader(name)
    require_format(reader, tree, PRACTICE_FORMAT)
    reader.known(tree, FIELDS, "")
    for field in ("seed", "level", "drawn", "unit"):
        if field not in tree.entries:
            raise reader.error("missing; take the file as `wringout practise` wrote it", tree.line, field)
    unit_node = reader.branch(tree.entries["unit"], "unit")
    unit = unit_from_tree(unit_node, name)
    count = (
        _whole(reader, tree.entries["causes"], "causes", MOST_CAUSES) if "causes" in tree.entries else None
    )
    seed = _whole(reader, tree.entries["seed"], "seed", 2**53)
    level = _whole(reader, tree.entries["level"], "level", max(LEVELS))
    hidden = draw(unit, seed, chance, level, count)
    written = reader.text(tree.entries["drawn"], "drawn")
    if written != fingerprint(hidden):
        raise reader.error(
            "the machine that is drawn now is another one: the unit in the file was altered, or another "
            "version of the program began the session; begin a new one",
            tree.entries["drawn"].line,
            "drawn",
        )
    acts = _acts(reader, tree.entries.get("acts"), unit)
    return Session(unit, plain(unit_node), seed, level, count, acts), hidden


def _whole(reader: Reader, node: Node, path: str, most: int) -> int:
    text = reader.text(node, path)
    if not text.isdecimal() or len(text) > 16 or int(text) > most:
        raise reader.error(f'"{text[:40]}" is no whole number up to {most}', node.line, path)
    return int(text)


def _acts(reader: Reader, node: Node | None, unit: Unit) -> tuple[Act, ...]:
    if node is None or (isinstance(node, Leaf) and node.text in ("", "[]")):
        return ()
    if not isinstance(node, Items):
        raise reader.error("wanted a list, each `- {read: supply.t, shown: 61.5 degF}`", node.line, "acts")
    return tuple(_act(reader, item, f"acts[{place}]", unit) for place, item in enumerate(node.items, 1))


def _act(reader: Reader, node: Node, path: str, unit: Unit) -> Act:
    branch = reader.branch(node, path, "{read: supply.t, shown: 61.5 degF}")
    kind = next((name for name in KINDS if name in branch.entries), None)
    if kind is None:
        raise reader.error(f"wanted one of {', '.join(KINDS)}", branch.line, path)
    extra = {"read": ("shown",), "force": ("to",)}.get(kind, ())
    reader.known(branch, (kind, *extra), path)
    for field in extra:
        if field not in branch.entries:
            raise reader.error("missing", branch.line, f"{path}.{field}")
    what = reader.text(branch.entries[kind], f"{path}.{kind}")
    line = branch.entries[kind].line
    try:
        if kind == "read":
            has_point(unit, what)
            shown = reader.text(branch.entries["shown"], f"{path}.shown")
            if shown != NOT_HAD:
                parse(shown, point(what).dimension)
            return Act("read", what, shown=shown)
        if kind == "wait":
            return Act("wait", f"{parse(what, Dimension.TIME).value / 60.0:.6g}")
    except InputError as error:
        raise reader.error(error.message, line, f"{path}.{kind}") from None
    if kind == "force":
        item = reader.word(branch.entries[kind], ITEMS, f"{path}.force")
        share = reader.quantity(branch.entries["to"], Measure(Dimension.FRACTION, 0.0, 1.0), f"{path}.to")
        return Act("force", item, float(share.value))
    return Act(kind, "" if kind in ("release", "name") and what == "nothing" else what)
