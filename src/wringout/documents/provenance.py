"""Where a value came from: the document (given) or a rule of the trade (assumed)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Provenance"]


@dataclass(frozen=True, slots=True)
class Provenance:
    """Source of one value.

    ``text`` is the value as written in the document and ``line`` its line; ``rule`` an assumption in words.
    ``sigma`` is one standard deviation of an assumed number in SI (an ESTIMATE: how far units of the kind
    stray from the rule), 0 for what was given.
    """

    kind: Literal["given", "assumed"]
    rule: str = ""
    text: str = ""
    sigma: float = 0.0
    line: int | None = None
