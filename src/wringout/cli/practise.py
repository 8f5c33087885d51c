"""``wringout practise``: an invented machine with hidden causes that answers the checks one chooses."""

from __future__ import annotations

import json
import secrets
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wringout.errors import DataError, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from wringout.practising.hidden import Hidden
    from wringout.practising.session import Act, Session

__all__ = ["command"]

HOMES = ("ice_hall", "film_vault")  # the demo's units, invented
MOST_SEED = 1_000_000
WORDS = (
    ("read POINT ...", "take readings, one after the other: read supply.t filter.drop"),
    ("force ITEM SHARE", "hold an item and wait until it has settled: force reheat.command 100 %"),
    ("release", "give it back to control, and wait again"),
    ("wait MINUTES", "let time pass"),
    ("mend CAUSE", "repair something, whether it is broken or not: mend strainer-plugged"),
    ("name CAUSE ...", "say what is wrong, or `name nothing`; this ends the session"),
    ("points", "the test points of this unit, with what each takes"),
    ("causes", "what can be wrong with this unit"),
    ("call FILE", "write the call so far, for wringout weigh, ledger, next and report"),
    ("help", "these lines"),
    ("quit", "leave; the session is kept and goes on where it was left"),
)


@click.command(
    "practise",
    epilog="On a line of its own: "
    + "; ".join(f"`{form}`" for form, _ in WORDS)
    + ". Everything in it is invented, for learning. Exit codes: 0 done or left, 1 our fault, 2 something in "
    "the input to mend. Example: wringout practise monday.yaml --level 1",
)
@click.argument("session_file", metavar="[SESSION]", default="practice.yaml", type=click.Path())
@click.option(
    "--unit", "unit_file", type=click.Path(), metavar="FILE", help="A unit document; else an invented one."
)
@click.option("--seed", type=click.IntRange(0, 2**53), metavar="N", help="The number all is drawn by.")
@click.option(
    "--level", type=click.IntRange(1, 3), help="1 one plain cause; 2 as calls come; 3 several, and slips."
)
@click.option(
    "--causes", "count", type=click.IntRange(0, 3), help="How many causes, in place of the level's."
)
@click.option(
    "--call", "call_file", type=click.Path(), metavar="OUT", help="Write the call so far, and stop."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document a line in place of words.")
@click.option("--force", is_flag=True, help="With --call: write over a file that is there.")
def command(
    session_file: str,
    unit_file: str | None,
    seed: int | None,
    level: int | None,
    count: int | None,
    call_file: str | None,
    as_json: bool,
    force: bool,
) -> None:
    """Look for hidden causes in an invented machine; SESSION keeps where you are (practice.yaml)."""
    path = Path(session_file)
    new = not path.exists()
    if not new:
        for given, option in (
            (unit_file, "--unit"),
            (seed, "--seed"),
            (level, "--level"),
            (count, "--causes"),
        ):
            if given is not None:
                raise InputError(
                    "this session has begun; leave it out, or name another file", f"{option}, {path}"
                )
        session, hidden = _resumed(path)
    else:
        if call_file is not None:
            raise InputError("there is no such session to write the call of", str(path))
        session, hidden = _begun(unit_file, seed, level, count)
        _save(path, session, hidden)
    if call_file is not None:
        _write_call(call_file, session, hidden, force)
        return
    _Desk(path, session, hidden, as_json).open(new)


def _begun(
    unit_file: str | None, seed: int | None, level: int | None, count: int | None
) -> tuple[Session, Hidden]:
    from importlib.resources import files

    import numpy as np

    from wringout.documents.load import unit_from_tree
    from wringout.documents.source import read_tree, tree_of
    from wringout.practising.hidden import draw
    from wringout.practising.session import Session, walked_up
    from wringout.records.plain import plain_tree

    seed = secrets.randbelow(MOST_SEED) if seed is None else seed
    if unit_file is not None:
        tree, name = read_tree(Path(unit_file)), unit_file
    else:
        name = HOMES[seed % len(HOMES)]
        tree = tree_of((files("wringout") / "demo" / name / "unit.yaml").read_text(encoding="utf-8"), name)
    unit = unit_from_tree(tree, name)
    level = 2 if level is None else level
    hidden = draw(unit, seed, np.random.default_rng, level, count)
    return walked_up(Session(unit, plain_tree(tree), seed, level, count), hidden), hidden


def _resumed(path: Path) -> tuple[Session, Hidden]:
    import numpy as np

    from wringout.documents.source import name_of, read_tree
    from wringout.practising.document import session_from_tree
    from wringout.records.plain import plain_tree

    return session_from_tree(read_tree(path), name_of(path), plain_tree, np.random.default_rng)


def _save(path: Path, session: Session, hidden: Hidden) -> None:
    from wringout.practising.document import session_tree
    from wringout.records.plain import yaml_of

    beside = path.with_name(path.name + ".new")
    try:
        beside.write_text(yaml_of(session_tree(session, hidden)), encoding="utf-8")
        beside.replace(path)  # never half a file
    except OSError as error:
        raise DataError(f"{path}: cannot be written: {error.strerror or error}") from None


def _write_call(name: str, session: Session, hidden: Hidden, force: bool) -> None:
    from wringout.practising.call import INVENTED, call_tree
    from wringout.records.plain import yaml_of

    path = Path(name)
    if path.is_dir():
        raise InputError("this is a folder; name a file in it", name)
    if path.suffix.lower() not in {".yaml", ".yml"}:
        raise InputError("name a file that ends in .yaml", name)
    if path.exists() and not force:
        raise InputError("this file is there already; --force writes over it", name)
    text = f"# {INVENTED}: computed by wringout practise, instrument error included\n"
    try:
        path.write_text(text + yaml_of(call_tree(session, hidden)), encoding="utf-8")
    except OSError as error:
        raise DataError(f"{path}: cannot be written: {error.strerror or error}") from None
    click.echo(f"{path}: the call so far", err=True)


class _Desk:
    """Takes a line, does it, keeps the session, says what came."""

    def __init__(self, path: Path, session: Session, hidden: Hidden, as_json: bool) -> None:
        self.path, self.session, self.hidden, self.as_json = path, session, hidden, as_json
        self.cautioned: set[str] = set()
        self.live = sys.stdin.isatty()

    def open(self, new: bool) -> None:
        """Say where the session stands, then take lines until the causes are named or nothing comes."""
        if self.session.ended:
            self._review()
            return
        self._beginning(new)
        for number, line in enumerate(self._lines(), 1):
            word, _, rest = line.strip().partition(" ")
            if word in ("quit", "exit"):
                break
            if not word or word.startswith("#"):
                continue
            try:
                self._do(word, rest.strip())
            except InputError as error:
                if not self.live:
                    raise InputError(str(error), f"line {number} of the input") from None
                click.echo(str(error), err=True)
            if self.session.ended:
                self._review()
                return
        if not self.as_json:
            click.echo(f"Kept in {self.path}; `wringout practise {self.path}` goes on.")

    def _lines(self) -> Iterator[str]:
        while True:
            if self.live and not self.as_json:
                click.echo("> ", nl=False)
            line = sys.stdin.readline()
            if not line:
                return
            yield line

    def _beginning(self, new: bool) -> None:
        from wringout.cli.practise_text import beginning, beginning_document

        self._tell(beginning_document(self.session, self.hidden), beginning(self.session, self.hidden, new))

    def _tell(self, tree: dict[str, Any], lines: list[str]) -> None:
        click.echo(json.dumps(tree, ensure_ascii=False) if self.as_json else "\n".join(lines))

    def _do(self, word: str, rest: str) -> None:
        from wringout.cli import practise_text as text

        if word == "points":
            points = text.points_document(self.session.unit)
            self._tell({"points": points}, text.point_lines(points))
        elif word == "causes":
            listed = text.causes_document(self.session.unit)
            self._tell({"causes": listed}, text.cause_lines(listed))
        elif word == "help":
            self._tell({"words": dict(WORDS)}, text.help_lines(WORDS))
        elif word == "call":
            if not rest:
                raise InputError("name the file, as in `call call.yaml`")
            _write_call(rest, self.session, self.hidden, True)
        else:
            for one in _acts(word, rest):
                self._act(one)

    def _act(self, one: Act) -> None:
        from wringout.cli import practise_text as text
        from wringout.practising.session import act

        after = act(self.session, self.hidden, one)
        cautions = text.cautions(one, self.session, self.cautioned)
        if cautions and not self.as_json:
            click.echo("\n".join(cautions))
        self.session = after
        _save(self.path, self.session, self.hidden)
        self._tell(text.act_document(self.session), text.act_lines(self.session))

    def _review(self) -> None:
        from wringout.cli.practise_review import review_document, review_lines
        from wringout.practising.review import best_way, own_way

        if self.as_json:
            own, best = list(own_way(self.session, self.hidden)), list(best_way(self.session, self.hidden))
            self._tell(review_document(self.session, self.hidden, own, best), [])
            return
        for line in review_lines(
            self.session, self.hidden, own_way(self.session, self.hidden), best_way(self.session, self.hidden)
        ):
            click.echo(line)


def _acts(word: str, rest: str) -> list[Act]:
    from wringout.documents.fields import nearest
    from wringout.practising.session import Act
    from wringout.quantity import Dimension, parse

    names = rest.split()
    if word == "read":
        if not names:
            raise InputError("read what? `points` lists them, as in `read supply.t`")
        return [Act("read", name) for name in names]
    if word == "force":
        item, _, share = rest.partition(" ")
        if not share:
            raise InputError("write item and share, as in `force reheat.command 100 %`")
        return [Act("force", item, parse(share, Dimension.FRACTION).value)]
    if word == "release":
        return [Act("release")]
    if word == "wait":
        minutes = rest.removesuffix("min").strip()
        try:
            return [Act("wait", f"{float(minutes):.6g}")]
        except ValueError:
            raise InputError(f'"{rest[:40]}" is no number of minutes; write `wait 30`') from None
    if word == "mend":
        if len(names) != 1:
            raise InputError("name one cause, as in `mend strainer-plugged`; `causes` lists them")
        return [Act("mend", names[0])]
    if word == "name":
        if not names:
            raise InputError("name the causes, or write `name nothing`; `causes` lists them")
        return [Act("name", "" if names == ["nothing"] else " ".join(dict.fromkeys(names)))]
    known = [form.split()[0] for form, _ in WORDS]
    raise InputError(f'"{word[:40]}" is not known here{nearest(word, known)}')
