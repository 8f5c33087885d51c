"""However a good document is spoilt, what comes out is a unit, a call, or one InputError."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sample_documents import CALL, HEADS, RECLAIM, TREND
from wringout.catalogue.calls import load_call, load_document
from wringout.documents.load import unit_from_text
from wringout.documents.overview import overview
from wringout.errors import InputError

SPANS = [*"\t\n -0{}[]#\"'", "", "nan", "1e400", ": ", "&a ", "*a", "!!int "]
WORDS = ["degF", "%", "gpm", "yes", "null", "~", "9e9 cfm", "-40 degC", "c1", "rated", "|\n"]
STRANGE = ["é", "\x00", "\u2028", "\u00a0", "😀", "\ufeff"]
PIECES = st.one_of(st.sampled_from(SPANS + WORDS + STRANGE), st.text(max_size=6))


@st.composite
def spoilt(draw: st.DrawFn, texts: list[str]) -> str:
    text = draw(st.sampled_from(texts))
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 12)))
        text = text[:start] + draw(PIECES) + text[end:]
    return text


@st.composite
def shuffled(draw: st.DrawFn, texts: list[str]) -> str:
    """Lines left out, doubled, exchanged or set in another depth."""
    lines = draw(st.sampled_from(texts)).split("\n")
    for _ in range(draw(st.integers(1, 3))):
        one, other = draw(st.integers(0, len(lines) - 1)), draw(st.integers(0, len(lines) - 1))
        what = draw(st.sampled_from(["drop", "double", "swap", "deeper", "flatter"]))
        if what == "drop" and len(lines) > 1:
            del lines[one]
        elif what == "double":
            lines.insert(one, lines[other])
        elif what == "swap":
            lines[one], lines[other] = lines[other], lines[one]
        elif what == "deeper":
            lines[one] = "  " + lines[one]
        else:
            lines[one] = lines[one].removeprefix("  ")
    return "\n".join(lines)


def finite(unit) -> None:
    for entry in overview(unit, "ip"):
        assert "nan" not in entry.shown.split()[0]
        assert math.isfinite(entry.provenance.sigma)


UNITS = [RECLAIM, *HEADS.values()]
LONG = settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@LONG
@given(text=st.one_of(spoilt(UNITS), shuffled(UNITS)))
def test_a_spoilt_unit_is_a_unit_or_one_error(text: str) -> None:
    try:
        unit = unit_from_text(text, "u.yaml")
    except InputError as error:
        assert str(error).startswith("u.yaml")  # noqa: PT017
        assert "\n" not in str(error)  # noqa: PT017
        assert len(str(error)) < 700  # noqa: PT017
    else:
        finite(unit)


@LONG
@given(text=st.one_of(spoilt([CALL]), shuffled([CALL])))
def test_a_spoilt_call_is_a_call_or_one_error(text: str, tmp_path: Path) -> None:
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    path = tmp_path / "call.yaml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        call = load_call(path)
    except InputError as error:
        assert "\n" not in str(error)  # noqa: PT017
    else:
        assert all(a.at <= b.at for a, b in zip(call.events, call.events[1:], strict=False))


@LONG
@given(
    data=st.one_of(st.binary(max_size=200), spoilt([TREND]).map(lambda text: text.encode("utf-8", "replace")))
)
def test_any_bytes_are_a_document_or_one_error(data: bytes, tmp_path: Path) -> None:
    for name in ("x.yaml", "x.json"):
        (tmp_path / name).write_bytes(data)
        try:
            load_document(tmp_path / name)
        except InputError as error:
            assert "\n" not in str(error)  # noqa: PT017


@pytest.mark.parametrize("name", ["\x00", "a" * 5000, "nul\x00l.yaml", "\udcff.yaml"])
def test_any_name_is_a_file_or_one_error(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        load_document(tmp_path / name)
    str(caught.value).encode("utf-8")
