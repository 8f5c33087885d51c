"""A demo story as it lies in the package: calls that grow reading by reading, and what was planted."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import yaml

from wringout.catalogue.calls import load_call
from wringout.documents.call import Call, Event

__all__ = ["STORIES", "Step", "Story", "story"]

STORIES = ("ice_hall", "film_vault")


@dataclass(frozen=True)
class Step:
    """One call document of a story and what it has over the one before."""

    path: Path
    call: Call
    new: tuple[Event, ...]


@dataclass(frozen=True)
class Story:
    """A story: its steps up to the answer, the step after the repair, and the causes that were planted."""

    folder: Path
    steps: tuple[Step, ...]
    final: Step
    planted: tuple[str, ...]


def story(name: str) -> Story:
    """Read one story of the package."""
    folder = Path(__file__).resolve().parent / name
    paths = sorted(folder.glob("call-[0-9]*.yaml"), key=lambda path: int(path.stem.split("-")[1]))
    steps: list[Step] = []
    for path in [*paths, folder / "call-final.yaml"]:
        call = load_call(path)
        before = len(steps[-1].call.events) if steps else 0
        steps.append(Step(path, call, call.events[before:]))
    planted = yaml.safe_load((folder / "planted.yaml").read_text(encoding="utf-8"))["causes"]
    return Story(folder, tuple(steps[:-1]), steps[-1], tuple(planted))
