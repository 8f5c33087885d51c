"""Plain words for what a difference says: where to look, never which cause it is."""

from __future__ import annotations

__all__ = ["against_model", "between_routes"]

_BETWEEN = {
    ("outdoor", "mixing, by temperature"): (
        "Mixed air is hard to read: stratified air first, then the outdoor airflow itself."
    ),
    ("outdoor", "mixing, by moisture"): (
        "Mixed air is hard to read: stratified air first, then the outdoor airflow itself."
    ),
    ("latent", "condensate"): (
        "What leaves the air has to run down the drain. Look at airflow and humidities on one side, "
        "at drain, "
        "trap and bucket time on the other; water that blows off the coil or stays in the pan is in neither."
    ),
    ("total", "compressor current"): (
        "A current shows that a compressor works, not that it moves heat: charge, valves and the coil's air."
    ),
    ("total", "chilled-water side"): (
        "Heat taken from the air has to warm the water. The water's flow is only taken from the stem here: a "
        "plug that does not follow, or air in the coil, shows as such a difference."
    ),
    ("reheat", "water side"): (
        "What the water loses the air gains. Airflow and air temperatures stand on one side, water flow and "
        "strap-on temperatures on the other; read again the one that is least sure."
    ),
    ("reheat", "source less pipes"): (
        "What the source gives, less the pipes, the air gains. Water that takes another way than through the "
        "coil, or a reading in the wrong place, shows as such a difference."
    ),
    ("loop", "pipe and insulation"): (
        "The pipe loses more or less than its length and insulation say: insulation missing, a "
        "reading on the "
        "wrong pipe, or water from before still in it."
    ),
    ("source", "coil and pipes"): (
        "What the source gives has to arrive in coil and pipes. One of flows and temperatures is off, or "
        "something else takes heat from the loop."
    ),
    ("room", "gains of the document"): (
        "The supply air takes out another amount than the document says comes in: the room stores or sheds, "
        "or doors, people and wet work are not what the document says."
    ),
}

# (line, part) -> words where less moves than expected, and where more does
_AGAINST = {
    ("outdoor", "heat"): (
        "Less load comes with the outdoor air than the schedule says: the damper, or how it is mixed.",
        "More load comes with the outdoor air than the schedule says: the damper, or how it is mixed.",
    ),
    ("sensible", "heat"): (
        "The coil cools the air less than a healthy one would under these conditions.",
        "The coil cools the air more than a healthy one would under these conditions.",
    ),
    ("latent", "moisture"): (
        "The coil wrings out less water than a healthy one would under these conditions.",
        "The coil wrings out more water than a healthy one would under these conditions.",
    ),
    ("total", "heat"): (
        "The coil takes less heat out of the air than a healthy one would under these conditions.",
        "The coil takes more heat out of the air than a healthy one would under these conditions.",
    ),
    ("reheat", "heat"): (
        "Less heat reaches the air than the reheat command asks for: follow it from signal to valve, "
        "water and "
        "source.",
        "More heat reaches the air than the reheat command asks for: follow it from signal to stem and plug.",
    ),
    ("fan", "heat"): (
        "The fan gives the air less heat than scheduled: speed, belt, current.",
        "The fan gives the air more heat than scheduled: speed, resistance, current.",
    ),
    ("loop", "heat"): (
        "The pipes lose less than a healthy loop's: is the loop as hot as it should be?",
        "The pipes lose more than a healthy loop's: insulation, or heat that goes elsewhere.",
    ),
    ("source", "heat"): (
        "The source gives the loop less than the coil would take in a healthy unit: does it lack "
        "heat to give, "
        "or does the loop not take it?",
        "The source gives the loop more than a healthy unit would take now.",
    ),
    ("room", "heat"): (
        "The supply air cools the room less, or heats it more, than that of a healthy unit would.",
        "The supply air cools the room more, or heats it less, than that of a healthy unit would.",
    ),
    ("room", "moisture"): (
        "The supply air dries the room less than that of a healthy unit would.",
        "The supply air dries the room more than that of a healthy unit would.",
    ),
}


def between_routes(line: str, one: str, other: str, difference: float) -> str:
    """Say what it may mean that two routes of a line differ.

    Parameters
    ----------
    line : str
        Key of the transfer.
    one, other : str
        Names of the routes.
    difference : float
        First less second.

    Returns
    -------
    str
    """
    return _BETWEEN.get((line, other), "One of the two rests on a reading that is off.")


def against_model(line: str, part: str, difference: float) -> str:
    """Say what it may mean that a route differs from the healthy machine.

    Parameters
    ----------
    line : str
        Key of the transfer.
    part : str
        ``heat`` or ``moisture``.
    difference : float
        Route less expectation.

    Returns
    -------
    str
    """
    less, more = _AGAINST[(line, part)]
    return less if difference < 0.0 else more
