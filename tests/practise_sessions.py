"""Practice sessions for tests, by their numbers and by the command."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from click.testing import CliRunner, Result

from answered_once import answered_once
from wringout.cli.main import group
from wringout.documents.load import load_unit
from wringout.documents.source import read_tree
from wringout.practising.hidden import Hidden, draw
from wringout.practising.session import (
    Session,
)
from wringout.records.plain import plain_tree

chance = np.random.default_rng
HOMES = Path(__file__).resolve().parent.parent / "src" / "wringout" / "demo"


def begun(seed: int, level: int = 2, count: int | None = None) -> tuple[Session, Hidden]:
    """A session before the walk-up readings."""
    path = HOMES / ("ice_hall", "film_vault")[seed % 2] / "unit.yaml"
    unit = load_unit(path)
    return Session(unit, plain_tree(read_tree(path)), seed, level, count), draw(
        unit, seed, chance, level, count
    )


def practise(folder: Path, lines: str, *options: str, name: str = "a.yaml") -> Result:
    with answered_once():
        return CliRunner().invoke(group, ["practise", str(folder / name), *options], input=lines)
