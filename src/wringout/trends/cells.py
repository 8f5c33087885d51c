"""What a single cell of a trend file says: a number, a number with its unit, a state, a time, or nothing."""

from __future__ import annotations

import math
import re

from wringout.quantity import UNITS, Dimension

__all__ = [
    "is_blank",
    "is_state",
    "looks_number",
    "looks_time",
    "number_in",
    "state_of",
    "unit_of_word",
    "SENTINELS",
]

# what controllers write into a cell that has no value
_NOTHING = {
    "", "-", "--", "---", "n/a", "na", "nan", "null", "none", "nil", "?", "???", "bad", "fault", "no data",
    "nodata", "invalid", "offline", "missing", "#value!", "#n/a", "#div/0!", "#ref!", "#num!", "#name?",
    "#null!", "inf", "-inf",
}  # fmt: skip

_STATES = {
    "on": 1.0, "off": 0.0, "true": 1.0, "false": 0.0, "yes": 1.0, "no": 0.0, "active": 1.0, "inactive": 0.0,
    "enabled": 1.0, "disabled": 0.0, "enable": 1.0, "disable": 0.0, "open": 1.0, "closed": 0.0, "opened":
    1.0, "close": 0.0, "run": 1.0, "stop": 0.0, "running": 1.0, "stopped": 0.0, "start": 1.0, "occupied":
    1.0, "unoccupied": 0.0, "occ": 1.0, "unocc": 0.0, "started": 1.0, "high": 1.0, "low": 0.0, "alarm": 1.0,
    "normal": 0.0, "auto": 0.0, "hand": 1.0, "manual": 1.0, "ein": 1.0, "aus": 0.0, "ja": 1.0, "nein": 0.0,
    "marche": 1.0, "arret": 0.0, "arrêt": 0.0, "oui": 1.0, "non": 0.0,
}  # fmt: skip

# numbers that stand for "no value" in the logs of many makers; only believed where the rest lies far away
SENTINELS = (-9999.0, -999.0, -999.9, 9999.0, 99999.0, -99999.0, 32767.0, -32768.0, 65535.0, 6553.5, 3276.7)

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_LOOSE_NUMBER = re.compile(r"\s*[-+]?(?:\d[\d.,'\u00a0]*|[.,]\d+)(?:[eE][-+]?\d+)?")
_WEEKDAY = r"(?:(?:[Mm]on|[Tt]ue|[Ww]ed|[Tt]hu|[Ff]ri|[Ss]at|[Ss]un)[a-z]*,? )?"
_DATE = re.compile(
    _WEEKDAY + r"(?:\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}[- ][A-Za-z]{3,9}\.?[- ,]+\d{2,4}|"
    r"[A-Za-z]{3,9} \d{1,2},? \d{4}|\d{8})(?:[T ,]+.*|:\d{4})?"
)
_TIME = re.compile(r"\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?( ?[AaPp]\.?[Mm]\.?)?")

_EXTRA_UNITS = {
    "degrees f": "degF", "degrees c": "degC", "fahrenheit": "degF", "celsius": "degC",
    "degf": "degF", "degc": "degC", "deg": None, "pct": "%", "percent": "%", "%open": "%",
    "% open": "%", "%rh": "%", "rh%": "%", "on/off": "yes/no", "true/false": "yes/no",
    "0/1": "yes/no", "bool": "yes/no", "binary": "yes/no", "in.wg": "inWC", "in.w.g.": "inWC",
    "in wg": "inWC", "iwg": "inWC", "vdc": "V", "vac": "V", "ppm": None, "kwh": None, "-": None,
    "stages": "count", "stage": "count", "count": "count", "grains": "gr/lb", "gr": "gr/lb",
    "datetime": None, "time": None, "date": None, "lux": None,
}  # fmt: skip


def _folded(word: str) -> str:
    return "".join(word.split()).casefold().replace("º", "°").replace("²", "2").replace("³", "3")


def _spellings() -> dict[str, str]:
    table: dict[str, str] = {}
    for dimension in Dimension:
        for unit in UNITS[dimension].values():
            for word in (unit.name, *unit.also):
                table.setdefault(_folded(word), unit.name)
    return table


_UNITS = _spellings()
_KNOWN = {_folded(word): name for word, name in _EXTRA_UNITS.items()}


def unit_of_word(word: str) -> str | None:
    """The unit that a word is, with brackets or without: ``(°F)`` gives ``degF``; an empty string for a unit
    that is known and of no use here (ppm); None for no unit at all."""
    inner = word.strip().strip("()[]{}<>").strip()
    if not inner or len(inner) > 16:
        return None
    folded = _folded(inner)
    if folded in _KNOWN:
        return _KNOWN[folded] or ""
    if folded in {"k", "in", "m", "h", "s"} and inner != "K":  # single letters are names as often as units
        return _UNITS.get(folded) if word.strip() != inner else None
    return _UNITS.get(folded)


def is_blank(cell: str) -> bool:
    """Whether a cell holds nothing, or a word that says so."""
    return cell.strip().casefold() in _NOTHING


def is_state(cell: str) -> bool:
    """Whether a cell is a word for a state of two, or blank."""
    word = cell.strip().casefold()
    return word in _STATES or word in _NOTHING


def state_of(cell: str) -> float:
    """1 or 0 for a word of state; NaN for any other."""
    return _STATES.get(cell.strip().casefold(), math.nan)


def looks_number(cell: str) -> bool:
    """Whether a cell is a number, in any country's writing, with a unit behind it or not."""
    match = _LOOSE_NUMBER.match(cell)
    if match is None:
        return False
    rest = cell[match.end() :].strip()
    return not rest or (len(rest) <= 10 and unit_of_word(rest) is not None)


def looks_time(cell: str) -> bool:
    """Whether a cell is a date, a time, or both."""
    word = " ".join(cell.split())
    return bool(_DATE.fullmatch(word) or _TIME.fullmatch(word))


def number_in(cell: str, decimal_comma: bool) -> tuple[float, str | None]:
    """The number in a cell and the unit behind it.

    Returns
    -------
    tuple of float and str or None
        NaN for a cell that holds no number; the unit's name, or None where none is written.
    """
    word = cell.replace("\u2212", "-").replace("\u00a0", " ").strip()
    match = _LOOSE_NUMBER.match(word)
    if match is None:
        return math.nan, None
    digits, rest = match.group().strip().rstrip(".,"), word[match.end() :].strip()
    digits = digits.replace("'", "").replace(" ", "")
    if decimal_comma:
        digits = digits.replace(".", "").replace(",", ".") if "," in digits else digits
    elif "," in digits:
        # 1,234.5 is thousands; a lone 12,5 is the other country's decimal mark
        thousands = "." in digits or re.fullmatch(r"[-+]?\d{1,3}(,\d{3})+", digits)
        digits = digits.replace(",", "") if thousands else digits.replace(",", ".")
    if not _NUMBER.fullmatch(digits):
        return math.nan, None
    if not rest:
        return float(digits), None
    unit = unit_of_word(rest)
    return (float(digits), unit or None) if unit is not None else (math.nan, None)
