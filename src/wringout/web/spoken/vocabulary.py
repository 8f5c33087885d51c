"""Trade words for places and quantities, as sets of test points: words that stand together narrow each
other down."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wringout.catalogue.points import points_of
from wringout.documents.unit import Unit
from wringout.web.spoken.numbers import Token, tokens

__all__ = ["FILLERS", "Phrase", "Vocabulary", "vocabulary"]

# Words that say nothing about the place of a reading
FILLERS = frozenset(
    [
        "is",
        "are",
        "was",
        "at",
        "the",
        "of",
        "a",
        "an",
        "it",
        "its",
        "reads",
        "read",
        "reading",
        "shows",
        "show",
        "says",
        "say",
        "now",
        "about",
        "around",
        "roughly",
        "with",
        "to",
        "for",
        "that",
        "this",
        "there",
        "we",
        "i",
        "get",
        "got",
        "have",
        "has",
        "had",
        "measured",
        "measure",
        "approx",
        "approximately",
        "still",
        "currently",
        "air",
        "side",
        "value",
        "steady",
        "me",
        "my",
        "on",
        "just",
        "and",
        "then",
        "also",
        "plus",
        "from",
        "by",
        "=",
        ":",
        "-",
        "in",
        "um",
        "uh",
        "er",
        "erm",
        "well",
        "ok",
        "okay",
        "so",
        "gives",
        "giving",
    ]
)


@dataclass(frozen=True, slots=True)
class Phrase:
    """What some words stand for: test points of this unit; whether the words name a place, and what they
    set (``scope`` shown or taken, ``negative``, ``positive``)."""

    points: frozenset[str]
    place: bool = True
    sets: str = ""


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The words for one unit, the longest first where several fit."""

    phrases: dict[tuple[str, ...], Phrase]
    longest: int

    def at(self, words: list[Token], place: int) -> tuple[Phrase, int] | None:
        """Give the longest phrase from a token on, and the token after it."""
        for length in range(min(self.longest, len(words) - place), 0, -1):
            said = tuple(token.text for token in words[place : place + length])
            if said in self.phrases:
                return self.phrases[said], place + length
        return None


# words -> beginnings of ids; a place, to be narrowed by what is measured
_PLACES: tuple[tuple[str, str], ...] = (
    (
        "outdoor|outdoors|outside|outdoor air|outside air|oa|ambient|intake|fresh air",
        "outdoor. shown.outdoor",
    ),
    ("return|return air|ra|return duct|back from the space", "return."),
    ("mixed|mixed air|mixing box|ma", "mixed."),
    (
        "coil leaving|leaving the coil|leaving coil|off the coil|off coil|coil off|between the coils|"
        "after the cooling coil|behind the cooling coil|off the cooling coil|leaving the cooling coil|"
        "cooling coil leaving|between coils|coil leaving air",
        "coil_leaving.",
    ),
    (
        "supply|supply air|sa|discharge air|supply duct|delivery air|leaving the unit",
        "supply. shown.supply_t",
    ),
    ("space|room|hall|zone|indoor|inside|indoors|room air|space air", "space. shown.space_t shown.dew_point"),
    ("filter|filters|across the filter|filter bank", "filter.drop"),
    ("fan|supply fan|blower|fan motor|fan drive", "fan."),
    ("condensate|drain|condensate drain|bucket|drip", "condensate.rate"),
    ("chilled water|chw|chilled", "chilled."),
    ("hot water|heating water|reheat water", "reheat.water loop. source."),
    (
        "water|pipe",
        "chilled.water reheat.water loop. source.water",
    ),
    ("reheat|reheat coil|heating coil|hot coil", "reheat. shown.reheat"),
    (
        "valve|reheat valve|actuator|reheat actuator|three way valve|two way valve",
        "reheat.signal reheat.stem chilled.stem",
    ),
    ("chilled water valve|chilled valve|cooling valve", "chilled.stem"),
    ("loop|main|hot water loop|mains|loop main", "loop.flow pump. strainer."),
    ("pump|circulator|loop pump", "pump.head"),
    ("strainer|y strainer|across the strainer|loop strainer", "strainer.drop"),
    ("source|exchanger|heat exchanger|boiler|plant", "source."),
    (
        "gas|hot gas|discharge gas|reclaim|refrigerant|reclaim gas|reclaim exchanger|discharge line",
        "reclaim.",
    ),
    ("stage|compressor|circuit|compressors", "stage."),
)
# words -> ends of ids, or whole ids: what is measured there
_KINDS: tuple[tuple[str, str], ...] = (
    (
        "temperature|temp|temps|dry bulb|drybulb|temperatures",
        ".t _t .water_in .water_out .gas_in .gas_out",
    ),
    ("humidity|rh|relative humidity|r h", ".rh"),
    ("airflow|air flow|air volume|volume|traverse", ".airflow"),
    ("flow|flow rate", ".airflow .flow .water_flow"),
    ("dew point|dewpoint|dew", ".dew_point .outdoor_dew_point"),
    ("set point|setpoint|dew point set point|dew point setpoint|target", ".setpoint_dew_point"),
    ("outdoor dew point|outside dew point", ".outdoor_dew_point"),
    ("current|draw|drawing|pulling|amperage|motor current", ".current"),
    ("superheat|super heat|suction superheat", ".superheat"),
    (
        "condensing over outdoor|condensing over ambient|condensing split|condenser split|condensing|"
        "over outdoor|over ambient",
        ".condensing_over_outdoor",
    ),
    ("signal|control signal|voltage|control voltage|control volts|terminals", "reheat.signal"),
    ("stem|position|indicator|stem position|valve position|pointer", ".stem"),
    ("command|output|reheat command|reheat output|demand", "shown.reheat_command"),
    ("head|pump head|lift", "pump.head"),
    ("drop|pressure drop|differential|delta p|dp|pressure|pressure difference", ".drop pump.head"),
    ("speed|frequency|drive speed|drive frequency", "fan.speed"),
    ("rate|water rate", "condensate.rate"),
    (
        "into|into the coil|into coil|entering|entering water|water in|to the coil|supply water|going in|"
        "water into the coil|water to the coil|entering the coil|inlet|into the reheat coil|in to the coil|"
        "water in to the coil|coil in|flow pipe",
        "reheat.water_in chilled.water_in",
    ),
    (
        "out|coming out of the coil|coming off the coil|out of the coil|out of coil|leaving water|"
        "water out|return water|coming out|water out of the coil|"
        "from the coil|outlet|water off the coil|water off the reheat coil|water leaving the reheat coil|"
        "water coming off the coil|out of the reheat coil|water leaving the coil|"
        "water from the coil|coil out",
        "reheat.water_out chilled.water_out",
    ),
    (
        "source in|into the source|into the exchanger|into the boiler|exchanger in|boiler in|boiler inlet|"
        "water into the exchanger|water into the boiler|source water in|back to the boiler|"
        "back to the source",
        "source.water_in",
    ),
    (
        "source out|out of the source|out of the exchanger|out of the boiler|exchanger out|boiler out|"
        "boiler outlet|water out of the exchanger|water out of the boiler|source water out|off the boiler|"
        "leaving the boiler|leaving the exchanger",
        "source.water_out",
    ),
    ("gas in|hot gas in|discharge gas in|reclaim gas in|gas into the exchanger|reclaim in", "reclaim.gas_in"),
    (
        "gas out|hot gas out|discharge gas out|reclaim gas out|refrigerant out|gas out of the exchanger|"
        "reclaim out",
        "reclaim.gas_out",
    ),
    (
        "coil flow|water flow|flow through the coil|flow through the reheat coil|coil water flow|"
        "reheat flow|reheat water flow",
        "reheat.water_flow",
    ),
    ("loop flow|main flow|flow in the loop|flow in the main|total flow|pump flow", "loop.flow"),
    (
        "stages called|stages on|stage called|stage on|stages running|stages calling|stages of cooling|"
        "cooling stages|cooling stages called|stages",
        "shown.stages_called",
    ),
    ("dehumidifying|dehumidification|dehumidify|dehumidification on|drying", "shown.dehumidifying"),
)
_SETS: tuple[tuple[str, str, str], ...] = (
    # words, what they set, which points they stand for
    (
        "display|displays|controller|the controller|shown|screen|panel|shown by the controller|"
        "on the display",
        "shown",
        "",
    ),
    ("handheld|hand held|probe|by hand instrument|my probe|my meter|thermometer", "taken", ""),
    (
        "not dehumidifying|isn't dehumidifying|no dehumidification|not drying",
        "negative",
        "shown.dehumidifying",
    ),
    (
        "reheat in hand|in hand|in manual|output in hand|hand mode|in override",
        "positive",
        "shown.reheat_in_hand",
    ),
    (
        "reheat in auto|reheat not in hand|not in hand|output in auto|in automatic|in auto",
        "negative",
        "shown.reheat_in_hand",
    ),
    ("reheat is in hand|reheat is in manual|reheat in manual", "positive", "shown.reheat_in_hand"),
)


def vocabulary(unit: Unit) -> Vocabulary:
    """Give the words for the points of a unit."""
    have = points_of(unit)
    phrases: dict[tuple[str, ...], Phrase] = {}

    def put(said: str, points: frozenset[str], place: bool, sets: str = "") -> None:
        for phrase in said.split("|"):
            words = tuple(token.text for token in tokens(phrase))
            before = phrases.get(words)
            if before is not None and before.sets == "lacking":
                before = None
            # a word may be a place and a quantity: the stages of the display, and those of the unit
            joined = points | before.points if before is not None and not sets else points
            if joined or sets:
                phrases[words] = Phrase(joined, place and (before is None or before.place), sets)
            elif place:
                phrases[words] = Phrase(frozenset(), True, "lacking")

    for said, starts in _PLACES:
        put(said, _matching(have, starts, str.startswith), True)
    for said, ends in _KINDS:
        put(said, _matching(have, ends, str.endswith), False)
    for said, sets, ids in _SETS:
        put(said, frozenset(name for name in have if name in ids.split()), False, sets)
    for number, stage in enumerate(unit.stage_ids, start=1):
        mine = frozenset(name for name in have if name.startswith(f"stage.{stage}."))
        put(stage.lower(), mine, True)
        for word in ("stage", "compressor", "circuit"):
            for ordinal in (str(number), _CARDINAL[number], stage.lower()):
                put(f"{word} {ordinal}", mine, True)
            put(f"{_ORDINAL[number]} {word}", mine, True)
    for name in have:
        phrases[tuple(token.text for token in tokens(name))] = Phrase(frozenset({name}))
    return Vocabulary(phrases, max(len(words) for words in phrases))


_CARDINAL = dict(
    enumerate(
        [
            "zero",
            "one",
            "two",
            "three",
            "four",
            "five",
            "six",
            "seven",
            "eight",
            "nine",
            "ten",
            "eleven",
            "twelve",
        ]
    )
)
_ORDINAL = dict(
    enumerate(
        [
            "0",
            "first",
            "second",
            "third",
            "fourth",
            "fifth",
            "sixth",
            "seventh",
            "eighth",
            "ninth",
            "tenth",
            "eleventh",
            "twelfth",
        ]
    )
)


def _matching(have: list[str], parts: str, how: Callable[[str, str], bool]) -> frozenset[str]:
    return frozenset(name for name in have if any(how(name, part) for part in parts.split()))
