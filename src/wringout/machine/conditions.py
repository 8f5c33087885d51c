"""What surrounds the machine when it is read, and the state it is held in or has put itself in."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from wringout.machine.parameters import Array

__all__ = ["Conditions"]


@dataclass(frozen=True)
class Conditions:
    """Weather, room and what control asks for at one time; arrays of one entry a sample (or one for all).

    ``outdoor_t``, ``outdoor_dew_point``, ``space_t``, ``space_dew_point`` [degC]; ``command`` reheat
    command [0..1]; ``stages`` how many stages are called, in parts where one is between two steps [count]
    (chilled water: 0..1); ``modulation`` what a modulating stage or the chilled-water valve is asked for
    [0..1]; ``rewetting`` how far the air takes up water that a coil standing still still holds [0..1];
    ``left_open`` position that a reheat valve on its way down has not yet left [0..1].
    """

    outdoor_t: Array
    outdoor_dew_point: Array
    space_t: Array
    space_dew_point: Array
    command: Array
    stages: Array
    modulation: Array
    rewetting: Array
    left_open: Array = field(default_factory=lambda: np.zeros(1))
