"""Every subject, in the order in which it is listed; one way in for all of them."""

from __future__ import annotations

from collections.abc import Mapping

from wringout.documents.fields import nearest
from wringout.errors import InputError
from wringout.setting_up.answer import Answer
from wringout.setting_up.balancing import BALANCING
from wringout.setting_up.big_enough import BIG_ENOUGH
from wringout.setting_up.cold_surface import COLD_SURFACE
from wringout.setting_up.fan_speed import FAN_SPEED
from wringout.setting_up.inputs import Known, gather
from wringout.setting_up.keep_three_way import KEEP_THREE_WAY
from wringout.setting_up.loop_fill import LOOP_FILL
from wringout.setting_up.moisture_sources import MOISTURE_SOURCES
from wringout.setting_up.output_scaling import OUTPUT_SCALING, kind_of_signal
from wringout.setting_up.reclaim_heat import RECLAIM_HEAT
from wringout.setting_up.subject import Subject

__all__ = ["SUBJECTS", "set_up", "subject"]

SUBJECTS: Mapping[str, Subject] = {
    one.id: one
    for one in (
        FAN_SPEED,
        OUTPUT_SCALING,
        BALANCING,
        KEEP_THREE_WAY,
        LOOP_FILL,
        RECLAIM_HEAT,
        COLD_SURFACE,
        BIG_ENOUGH,
        MOISTURE_SOURCES,
    )
}


def subject(id: str) -> Subject:
    """The subject of an id.

    Raises
    ------
    InputError
        For an id that is not known; the message names the nearest.
    """
    if id not in SUBJECTS:
        raise InputError(f'there is no subject "{id[:40]}"{nearest(id, SUBJECTS)}', "SUBJECT")
    return SUBJECTS[id]


def set_up(id: str, written: Mapping[str, str], known: Known | None = None) -> Answer:
    """Answer a subject from what is written, what was read and the unit document.

    Parameters
    ----------
    id : str
        One of `SUBJECTS`.
    written : mapping
        Option to text with its unit, and its standard deviation behind ``+-`` if wanted.
    known : Known, optional
        Unit and readings of a call.

    Raises
    ------
    InputError
        For what is missing or cannot be read; the message names the option.
    """
    one, known = subject(id), known or Known()
    given = dict(written)
    if one is OUTPUT_SCALING and "actuator-kind" not in given and kind_of_signal(known) == "milliamperes":
        given["actuator-kind"] = "milliamperes"
        given.setdefault("output-kind", "milliamperes")
        given.setdefault("output-low", "4 mA")
        given.setdefault("output-high", "20 mA")
    return one.answer(gather(one.asks, given, known))
