"""The values of a unit while they are being completed, with the source of each."""

from __future__ import annotations

from typing import Any

from wringout.documents.fields import Found
from wringout.documents.provenance import Provenance
from wringout.quantity import to_si

__all__ = ["AIR_HEAT", "CFM", "TON", "WATER_HEAT", "Filler"]

AIR_HEAT = 1.2 * 1006.0  # J/(m3 K) of standard air: the trade's 1.08 Btu/h per cfm and degF
WATER_HEAT = 990.0 * 4180.0  # J/(m3 K) at 45 degC: the trade's 500 Btu/h per gpm and degF
TON = float(to_si(1.0, "ton", "power"))
CFM = float(to_si(1.0, "cfm", "airflow"))


class Filler:
    """The values of a unit while they are being completed, with the source of each."""

    def __init__(self, found: dict[str, Found]) -> None:
        self.values: dict[str, Any] = {path: item.value for path, item in found.items()}
        self.provenance: dict[str, Provenance] = {
            path: Provenance("given", text=item.text, line=item.line)
            for path, item in found.items()
            if path != "cooling.stages"
        }

    def __getitem__(self, path: str) -> Any:
        return self.values[path]

    def __contains__(self, path: str) -> bool:
        return path in self.values

    def assume(self, path: str, value: Any, rule: str, spread: float = 0.0) -> None:
        """Fill a path that is still empty; ``spread`` is one standard deviation in SI."""
        if path not in self.values:
            self.values[path] = value
            self.provenance[path] = Provenance("assumed", rule=rule, sigma=spread)

    def scaled(self, path: str, value: float, rule: str, relative: float) -> None:
        """Fill a path; the spread is a share of the value."""
        self.assume(path, value, rule, abs(value) * relative)
