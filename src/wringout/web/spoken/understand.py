"""One line as said or typed, understood as readings, forced states and places that cannot be read.

Nothing is guessed in silence: what can mean two things becomes a question with its choices, a unit that was
taken because none was said is noted, and words that were not understood are given back.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from wringout.catalogue.points import point, points_of
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import Dimension, UnitSystem, parse
from wringout.web.spoken.numbers import Number, Token, number_at, tokens
from wringout.web.spoken.turns import BACK, CORRECTING, FREE, HOLD, ITEMS, PUT, UNREADABLE
from wringout.web.spoken.understood import Choice, Held, Question, Said, Understood, Unreadable
from wringout.web.spoken.units import Spoken, unit_at, usual_unit
from wringout.web.spoken.vocabulary import FILLERS, Phrase, Vocabulary, vocabulary

__all__ = ["understand", "value_text"]

MOST_LENGTH = 1000
_STRONG = frozenset({";", ".", "!", "?", "\n"})
_WEAK = frozenset({",", "and", "/", "&"})
_YES, _NO = frozenset({"yes", "on", "true", "active"}), frozenset({"no", "off", "false", "inactive"})
_NOT = frozenset({"not", "isn't", "no", "doesn't"})


def understand(line: str, unit: Unit, system: UnitSystem) -> Understood:
    """Understand a line.

    Parameters
    ----------
    line : str
        As said or typed; at most a thousand characters are looked at.
    unit : Unit
        Whose points are meant.
    system : {'ip', 'si'}
        Units of numbers that come without one.

    Returns
    -------
    Understood
        Never an error: what is not understood is among its questions and unknown words.
    """
    return _Line(line[:MOST_LENGTH], vocabulary(unit), system, unit).read()


def value_text(number: float, unit: str) -> str:
    """Write a value as documents do."""
    return f"{number:.10g} {unit}"


def _fits(name: str, text: str) -> bool:
    measure = point(name).measure
    try:
        found = parse(text, measure.dimension)
    except InputError:
        return False
    return measure.low <= found.value <= measure.high


@dataclass
class _Line:
    """The state of reading one line from left to right."""

    line: str
    words_known: Vocabulary
    system: UnitSystem
    unit: Unit
    out_said: list[Said] = field(default_factory=list)
    out_unreadable: list[Unreadable] = field(default_factory=list)
    out_held: list[Held] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.words = tokens(self.line)
        self.at = 0
        self.here: frozenset[str] = frozenset()  # what the words since the last value stand for
        self.place: frozenset[str] = frozenset()  # what their places alone stand for
        self.fresh = True  # no value has been given to these words yet
        self.shown = False
        self.negative = False
        self.start = 0  # character where the present words begin
        self.waiting: tuple[Number, Spoken, int, int] | None = None  # a value said before its place
        self.holding = ""
        self.lost = False  # a word of this clause was not understood
        self.lacking = False  # that it cannot be read was said before its place

    def read(self) -> Understood:
        while self.at < len(self.words):
            self._step()
        self._break(strong=True)
        return Understood(
            tuple(self.out_said),
            tuple(self.out_unreadable),
            tuple(self.out_held),
            tuple(self.questions),
            tuple(dict.fromkeys(self.unknown)),
        )

    # ------------------------------------------------------------------------------------ one step

    def _step(self) -> None:
        word = self.words[self.at]
        if word.text in _STRONG | _WEAK:
            strong = word.text in _STRONG
            self.at += 1
            self._break(strong)
        elif self._corrected() or self._unreadable() or self._held() or self._words():
            pass
        elif word.text in _YES | _NO and self._binary(word):
            self.at += 1
        elif (number := number_at(self.words, self.at)) is not None:
            self._number(number)
        elif word.text in _NOT:
            self.negative = True
            self.at += 1
        else:
            if word.text not in FILLERS and any(c.isalnum() for c in word.text):
                self.unknown.append(self.line[word.start : word.end])
                self.lost = True
            self.at += 1

    def _break(self, strong: bool) -> None:
        """A mark or an ``and``: what was said before it is finished."""
        if self.waiting is not None:
            number, spoken, start, end = self.waiting
            self.waiting = None
            self._give(number, spoken, start, end)
        if self.lacking and self.here and self.fresh:
            self._lack()
        if self.here and self.fresh and strong:
            self._unused()
        self.lost = False
        if strong:
            self.here = self.place = frozenset()
            self.shown = self.negative = False
            self.fresh = True
            self.holding = ""

    def _unused(self) -> None:
        """Words for a place to which nothing was said; a state that is said by its name alone."""
        binary = [name for name in self.here if point(name).dimension is Dimension.YES_NO]
        said = self._said_from(self.start)
        if len(binary) == 1 and self.here == frozenset(binary):
            self.out_said.append(Said(binary[0], "no" if self.negative else "yes", said))
        else:
            self.questions.append(Question(said, "no value was said for it"))

    def _said_from(self, start: int) -> str:
        end = self.words[self.at - 1].end if self.at else len(self.line)
        return self.line[start:end].strip(" ,;.") or self.line.strip()

    # ------------------------------------------------------------------------------------ words

    def _in_or_out(self) -> bool:
        """``in`` and ``out`` behind a place that has both; elsewhere they say nothing of their own."""
        word = self.words[self.at].text
        ways = frozenset(name for name in self.here if name.endswith(f"_{word}"))
        if word not in ("in", "out") or not ways or not self.fresh:
            return False
        self.here = ways
        self.at += 1
        return True

    def _words(self) -> bool:
        found = self.words_known.at(self.words, self.at)
        if found is None or (found[1] == self.at + 1 and self._in_or_out()):
            return found is not None or self._in_or_out()
        phrase, after = found
        start = self.words[self.at].start
        number = number_at(self.words, self.at)
        if number is not None and number.after >= after and not phrase.points:
            return False
        self.at = after
        if phrase.sets == "shown":
            self._finish()
            self.shown, self.start = True, start
        elif phrase.sets == "taken":
            self.shown = False
        elif phrase.sets == "lacking":
            self._finish()
            self.questions.append(
                Question(self.line[start : self.words[after - 1].end], "this unit has no such point")
            )
            self.lost = True
        elif phrase.sets:
            self._finish()
            self._state(phrase, start)
        else:
            self._narrow(phrase, start)
        return True

    def _finish(self) -> None:
        """New words begin: what the former ones still wait for is settled."""
        if self.here and self.fresh and self.waiting is None:
            self._unused()
        self.here = self.place = frozenset()
        self.fresh = True

    def _state(self, phrase: Phrase, start: int) -> None:
        if len(phrase.points) == 1:
            said = self.line[start : self.words[self.at - 1].end]
            self.out_said.append(
                Said(next(iter(phrase.points)), "no" if phrase.sets == "negative" else "yes", said)
            )

    def _narrow(self, phrase: Phrase, start: int) -> None:
        points = phrase.points
        if self.shown:
            points = frozenset(name for name in points if name.startswith("shown.")) or points
        if (
            not self.fresh
            and self.words[self.at - 1].start == start
            and self.words[self.at - 1].text == "out"
        ):
            points = self._other_end() or points
        if not self.fresh:
            # after a value: a quantity stays at the place, a place begins anew
            at_place = points & self.place if not phrase.place else frozenset()
            self.here = at_place or points
            if not at_place:
                self.place = phrase.points if phrase.place else frozenset()
            self.fresh, self.start = True, start
            self.negative = self.negative and self.words[max(self.at - 2, 0)].text in _NOT
            return
        if not self.here:
            self.here, self.start = points, start
            self.place = phrase.points if phrase.place else frozenset()
            return
        joined = self.here & points
        if joined:
            self.here = joined
            if phrase.place:
                self.place = (self.place & phrase.points) or phrase.points
            return
        if self.place and phrase.place:
            self._finish()
            self.here, self.place, self.start = points, phrase.points, start
            return
        said = self._said_from(self.start)
        self.questions.append(Question(said, "this unit has no such point; say its place and what was read"))
        self.here = self.place = frozenset()
        self.fresh = True

    def _other_end(self) -> frozenset[str]:
        """Where what went in at the last place comes out."""
        last = self.out_said[-1].point if self.out_said else ""
        out = last.removesuffix("_in") + "_out"
        return frozenset({out} if last.endswith("_in") and out in points_of(self.unit) else ())

    # ------------------------------------------------------------------------------------ values

    def _number(self, number: Number) -> None:
        start = self.words[self.at].start
        self.at = number.after
        spoken: Spoken = {}
        found = unit_at(self.words, self.at, self.system)
        if found is not None:
            spoken, self.at = found
        end = self.words[self.at - 1].end
        if self.holding:
            self._hold(number, start, end)
        elif self.here and self.fresh:
            self._give(number, spoken, self.start, end)
        elif self._place_follows():
            self.waiting = number, spoken, start, end
            self.here = self.place = frozenset()
            self.fresh = True
        else:
            self._give(number, spoken, start, end)

    def _place_follows(self) -> bool:
        """Whether words for a place come next and no value after them: ``71 in the return``."""
        at = self.at
        while at < len(self.words) and self.words[at].text in FILLERS:
            at += 1
        seen = False
        while at < len(self.words):
            found = self.words_known.at(self.words, at)
            if found is not None and not found[0].sets:
                seen, at = True, found[1]
            elif seen and self.words[at].text in FILLERS:
                at += 1
            else:
                break
        if not seen:
            return False
        return at >= len(self.words) or self.words[at].text in _STRONG | _WEAK

    def _binary(self, word: Token) -> bool:
        names = [name for name in self.here if point(name).dimension is Dimension.YES_NO]
        if not self.here or not self.fresh or len(names) != 1:
            return False
        yes = (word.text in _YES) != self.negative
        self.out_said.append(
            Said(names[0], "yes" if yes else "no", self.line[self.start : word.end].strip(" ,"))
        )
        self.fresh = self.negative = False
        return True

    def _give(self, number: Number, spoken: Spoken, start: int, end: int) -> None:
        said = self.line[start:end].strip(" ,;")
        carried = not (self.here and self.fresh)
        points = self.here if not carried else self._carried()
        self.fresh = False
        if number.doubt:
            self.questions.append(Question(said, number.doubt))
            return
        if not points or (carried and self.lost):
            self.questions.append(Question(said, "where was it read? Say the place first"))
            return
        if not self.shown:
            # what an instrument read is meant, unless a display was named
            measured = frozenset(
                name
                for name in points
                if not name.startswith("shown.") and (not spoken or point(name).dimension in spoken)
            )
            points = measured or points
        fitting = self._fitting(points, number, spoken)
        if len(fitting) > 1:
            fitting = self._preferred(fitting, carried)
        if len(fitting) == 1:
            self._keep(fitting[0], said, bool(spoken))
        elif fitting:
            self.questions.append(Question(said, "which of these is it?", tuple(fitting)))
        else:
            self.questions.append(Question(said, self._why_none(points, number, spoken)))

    def _carried(self) -> frozenset[str]:
        """The points of the last place that have not been given a value in this line."""
        given = {said.point for said in self.out_said}
        return frozenset((self.place or self.here) - given)

    def _fitting(self, points: Iterable[str], number: Number, spoken: Spoken) -> list[Choice]:
        found = []
        for name in sorted(points):
            entry = point(name)
            if entry.dimension is Dimension.YES_NO:
                continue
            if spoken and entry.dimension not in spoken:
                continue
            unit = spoken[entry.dimension] if spoken else usual_unit(entry.dimension, entry.unit, self.system)
            text = value_text(number.value, unit)
            if _fits(name, text):
                found.append(Choice(name, text))
        return found

    def _preferred(self, fitting: list[Choice], carried: bool) -> list[Choice]:
        """What is meant as a rule: the temperature of the place, when that is the first thing said of it."""
        if {choice.point for choice in fitting} == {"shown.dew_point", "shown.outdoor_dew_point"}:
            return [choice for choice in fitting if choice.point == "shown.dew_point"]
        if not carried:
            warm = [choice for choice in fitting if choice.point.endswith((".t", "_t"))]
            if len(warm) == 1:
                return warm
        return fitting

    def _keep(self, choice: Choice, said: str, unit_said: bool) -> None:
        notes = []
        if not unit_said and point(choice.point).dimension is not Dimension.COUNT:
            notes.append(f"taken in {choice.value.partition(' ')[2].removeprefix('delta_')}")
        if choice.point == "shown.dew_point" and not self.shown:
            notes.append("taken as what the display shows")
        self.out_said.append(Said(choice.point, choice.value, said, "; ".join(notes)))
        if not self.place:
            self.place = frozenset({choice.point})

    def _why_none(self, points: Iterable[str], number: Number, spoken: Spoken) -> str:
        names = sorted(points)
        if spoken and not any(point(name).dimension in spoken for name in names):
            takes = sorted({point(name).unit for name in names})
            return f"what is read there is in {' or '.join(takes)}, not in {next(iter(spoken.values()))}"
        entry = point(names[0])
        low, high = (entry.measure.shown(limit, self.system) for limit in (entry.low, entry.high))
        if len(names) == 1 and entry.dimension is not Dimension.YES_NO:
            return f"outside what can be read there, {low} to {high}: a slip of digit or unit?"
        return "no point of that place can read this"

    def _corrected(self) -> bool:
        """``no, make that 66``: the last value is taken back, and another one is waited for."""
        for words in CORRECTING:
            if self.out_said and self._said_next(words):
                last = self.out_said.pop()
                self.start = self.words[self.at].start
                self.at += len(words)
                self.here = self.place = frozenset({last.point})
                self.fresh, self.negative = True, False
                return True
        return False

    def _said_next(self, words: tuple[str, ...]) -> bool:
        return tuple(token.text for token in self.words[self.at : self.at + len(words)]) == words

    # --------------------------------------------------------------- what cannot be read, what is held

    def _unreadable(self) -> bool:
        for words in UNREADABLE:
            if not self._said_next(words):
                continue
            start = self.words[self.at].start
            self.at += len(words)
            if self.here and self.fresh:
                self._lack()
            else:  # its place comes after
                self._break(strong=True)
                self.lacking, self.start = True, start
            return True
        return False

    def _lack(self) -> None:
        self.out_unreadable += [
            Unreadable(name, self._said_from(self.start)) for name in self._meant_unreadable()
        ]
        self.fresh = self.lacking = False

    def _meant_unreadable(self) -> list[str]:
        taken = sorted(name for name in self.here if not name.startswith("shown."))
        return taken if taken and not self.shown else sorted(self.here)

    def _held(self) -> bool:
        word = self.words[self.at].text
        back = next((len(words) for words in BACK if self._said_next(words)), 0)
        if back or word in FREE or word in HOLD or self._put():
            near = {token.text for token in self.words[max(self.at - 4, 0) : self.at + 5]}
            items = [
                item
                for item, names in (
                    ("reheat.command", {"reheat", "command"}),
                    ("cooling.call", {"cooling", "stages", "call"}),
                )
                if near & names
            ]
            if len(items) != 1:
                return False
            self.start = self.words[self.at].start
            self.here = self.place = frozenset()
            self.fresh = False
            self.at += back or 1
            while self.at < len(self.words) and self.words[self.at].text in (FILLERS | ITEMS) - {"and"}:
                self.at += 1
            if back or word in FREE:
                self.out_held.append(Held(items[0], "", self._said_from(self.start)))
            else:
                self.holding = items[0]
            return True
        return False

    def _put(self) -> bool:
        """``put the reheat at 100``: no other word between, or it may be a probe that was put somewhere."""
        if self.words[self.at].text not in PUT:
            return False
        after = [token.text for token in self.words[self.at + 1 : self.at + 6] if token.text != "the"]
        while len(after) > 1 and after[0] in ITEMS and after[1] in ITEMS:
            del after[0]
        return len(after) > 1 and after[0] in ITEMS and after[1] in ("at", "to")

    def _hold(self, number: Number, start: int, end: int) -> None:
        said = self.line[min(self.start, start) : end].strip(" ,")
        share = number.value
        if self.holding == "cooling.call" and share not in (0.0, 100.0):
            self.questions.append(Question(said, "cooling is held at 0 % or 100 %, nothing between"))
        elif number.doubt or not 0.0 <= share <= 100.0:
            self.questions.append(Question(said, "the reheat command is held at 0 to 100 %"))
        else:
            self.out_held.append(Held(self.holding, value_text(share, "%"), said))
        self.holding = ""
