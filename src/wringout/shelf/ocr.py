"""Pages without text, read from their pictures: an extra, and any engine that gives lines will do."""

from __future__ import annotations

import importlib
import importlib.util
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wringout.errors import InputError
from wringout.shelf.reader import Box, Page, Picture
from wringout.shelf.words import spans

__all__ = ["DOTS", "Engine", "Line", "page_of_lines", "rapid_engine"]

DOTS = 200 / 72  # pixels a point of the picture that is read
LEAST_CONFIDENCE = 0.5


@dataclass(frozen=True, slots=True)
class Line:
    """One line as it was read: its box in pixels (left, top, right, bottom) and confidence, 0..1."""

    text: str
    box: tuple[float, float, float, float]
    confidence: float


Engine = Callable[[NDArray[np.uint8]], Sequence[Line]]


def rapid_engine() -> Engine:
    """The engine of the extra ``ocr``; its models come with it and nothing is fetched.

    Raises
    ------
    InputError
        Where the extra is not installed.
    """
    if importlib.util.find_spec("rapidocr") is None or importlib.util.find_spec("onnxruntime") is None:
        raise InputError("reading scanned pages takes the extra ocr: pip install 'wringout[ocr]'")
    engine = importlib.import_module("rapidocr").RapidOCR(params={"Global.log_level": "error"})

    def read(image: NDArray[np.uint8]) -> Sequence[Line]:
        answer = engine(np.ascontiguousarray(image[:, :, ::-1]))  # it takes blue, green, red
        if answer.boxes is None:
            return ()
        return tuple(
            Line(str(text), _upright(corners), float(score))
            for text, corners, score in zip(answer.txts, answer.boxes, answer.scores, strict=True)
        )

    return read


def _upright(corners: Any) -> tuple[float, float, float, float]:
    points = np.asarray(corners, dtype=float)
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return float(left), float(top), float(right), float(bottom)


def page_of_lines(picture: Picture, width: float, height: float, lines: Sequence[Line]) -> Page:
    """A page [points wide and high] from the lines read in its picture.

    Within a line a word's box is its share of the line by characters: right for letters of one width, near
    enough for a mark in others. Lines of little confidence are left out.
    """
    text = ""
    words, boxes = [], []
    for line in sorted(lines, key=lambda one: (round(one.box[1] / 8), one.box[0])):
        if line.confidence < LEAST_CONFIDENCE or not line.text.strip():
            continue
        begin = len(text)
        text += line.text + "\n"
        left, top, right, bottom = line.box
        for span in spans(line.text):
            share = (right - left) / len(line.text)
            one = picture.on_page(left + share * span.start, top)
            other = picture.on_page(left + share * span.end, bottom)
            words.append(type(span)(begin + span.start, begin + span.end, span.word))
            boxes.append(_box(one, other))
    return Page(picture.page, width, height, text, tuple(words), tuple(boxes), "ocr" if words else "none")


def _box(one: tuple[float, float], other: tuple[float, float]) -> Box:
    return min(one[0], other[0]), min(one[1], other[1]), max(one[0], other[0]), max(one[1], other[1])
