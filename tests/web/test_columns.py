"""What the columns of a log are, said in the app: what was guessed and why, what is wrong with a choice, and
a choice that counts wherever the log is used."""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from test_trends_cli import run, write
from trend_samples import simulate
from web.browsing import TOO_SMALL, listened, phone, settled, tapped
from web.client import FIRST, Client, first_view
from web.server import served
from wringout.catalogue.calls import trend_from_text
from wringout.cli.trend_table import table_of_record
from wringout.documents.load import unit_from_text
from wringout.records.bundle import export_calls, import_bundle
from wringout.records.logs import logs_of
from wringout.records.store import Store, open_store
from wringout.trends.choosing import Choice, chosen_text

STRANGE = "ZX-17"  # a name that speaks of nothing
BARE = "Time,CO2,PPM2\n" + "".join(
    f"2027-07-{day:02d} {hour:02d}:00,{400 + hour},{48.0 + 0.1 * hour:.1f}\n"
    for day in (8, 9)
    for hour in range(24)
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(tmp_path_factory.mktemp("columns"))


@pytest.fixture(scope="module")
def at(folder: Path) -> Iterator[str]:
    """A server whose record the tests look into."""
    with served(folder) as address:
        yield address


@pytest.fixture
def client(at: str) -> Iterator[Client]:
    with Client(at) as made:
        yield made


@pytest.fixture
def record(folder: Path, at: str) -> Iterator[Store]:
    with open_store(folder / "record.sqlite", create=False) as store:
        yield store


@pytest.fixture(scope="module")
def log(folder: Path) -> bytes:
    """Two days of an invented unit, with a column that nobody knows."""
    head, *rows = write(simulate(2.0, 1), folder / "hall log.csv").read_text().splitlines()
    rows = [f"{row};{40 + k % 17 / 2:.1f}" for k, row in enumerate(rows)]
    return "\n".join([f"{head};{STRANGE}", *rows]).encode()


def taken_in(client: Client, log: bytes, name: str = "hall log.csv") -> str:
    """The address of a log in a call of its own."""
    call = client.open_call()
    client.post(f"{call}/trends", files={"file": (name, log, "text/csv")})
    return client.seen[-1]


def form(text: str) -> dict[str, str]:
    """What the form says when it is sent as it stands."""
    found = dict(re.findall(r'<input type="hidden" name="(of|from|id)" value="([^"]*)"', text))
    for name, options in re.findall(r'<select id="[^"]*" name="(\w+)"[^>]*>(.*?)</select>', text, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected>', options)
        found[name] = chosen[1] if chosen else ""
    return found


def place_of(text: str, column: str) -> str:
    """The number of a column's fields."""
    found = re.search(rf'<label for="f-p(\d+)">Is <span class="unseen">{re.escape(column)}</span>', text)
    assert found is not None, column
    return found[1]


def chosen(client: Client, trend: str, status: int = 200, **columns: tuple[str, str]) -> str:
    """Send the form with some columns said otherwise (``_`` stands for a blank); the page that comes."""
    text = client.wait_for(f"{trend}/columns")
    fields = form(text)
    for name, (point, unit) in columns.items():
        k = place_of(text, STRANGE if name == "strange" else name.replace("_", " "))
        fields |= {f"p{k}": point, f"u{k}": unit}
    return client.post(f"{trend}/columns", status, **fields)


def mapping_of(record: Store, trend: str) -> str:
    """The mapping file that the record holds for a log; empty where there is none."""
    _, _, call, _, sha256 = trend.split("/")
    (found,) = [log for log in logs_of(record.call(call)) if log.sha256 == sha256]
    return record.content(found.mapping.body["sha256"]).data.decode() if found.mapping else ""


def test_each_column_says_what_it_was_taken_for_how_sure_why_and_what_it_holds(
    client: Client, log: bytes
) -> None:
    trend = taken_in(client, log)
    assert f'href="{trend}/columns">Say what the columns are' in client.wait_for(trend)
    text = client.wait_for(f"{trend}/columns")
    client.get(f"{trend}/columns")
    assert "<b>7 of 8 columns guessed</b>, 1 not recognised" in text
    assert "Dew point on which the controller acts, °F (guessed, 98% sure)" in text
    assert "Why: name speaks of dew point, space." in text
    fields, k = form(text), place_of(text, "Space Dew Point")
    assert (fields[f"p{k}"], fields[f"u{k}"]) == ("shown.dew_point", "degF")
    strange = text[text.index(f"<span>{STRANGE}<small>") :]
    assert strange.startswith(f"<span>{STRANGE}<small><b>Not recognised</b></small>")
    assert "; from 40 to 48." in strange
    assert text.count("<details") - text.count(" open>") == 7, "only what is to be said stands open"
    k = place_of(text, STRANGE)
    assert (fields[f"p{k}"], fields[f"u{k}"]) == ("", "")


def test_what_is_chosen_is_kept_with_the_log_as_its_mapping_file_and_used(
    client: Client, record: Store, log: bytes
) -> None:
    trend = taken_in(client, log)
    assert "return air" not in client.wait_for(trend)
    chosen(client, trend, strange=("return.rh", "%"), Cooling_Stages=("", "count"))
    assert client.seen[-1] == trend, "back to the log, with its findings"
    for _ in range(2):
        text = client.wait_for(trend)
        assert "Columns, as given" in text
        assert "Rh of return air" in text or "Relative humidity of return air" in text
        assert re.search(r'<th scope="row">Cooling Stages</th><td><b>Left out</b>', text)
    series = {one["point"] for one in client.http.get(f"{trend}/series.json").json()["series"]}
    assert "return.rh" in series
    assert "shown.stages_called" not in series
    told = trend_from_text(mapping_of(record, trend), "columns")
    assert {c.column: (c.point, c.unit) for c in told.columns}[STRANGE] == ("return.rh", "%")
    assert (told.file.name, told.time_column) == ("hall log.csv", "Date/Time")
    text = client.wait_for(f"{trend}/columns")
    assert "<b>7 of 8 columns given</b>, 1 left out, by technician" in text
    assert "(given)" in text
    assert "Guess: number of cooling stages the controller calls, 98% sure" in text, (
        "the guess stays in sight"
    )
    call = trend.partition("/trends/")[0]
    assert "Columns of hall log.csv as chosen: 7 of 8" in client.get(call)
    assert client.get(f"{call}/trends").count("hall log") == 1, "a mapping file is no log"


def test_a_log_of_which_nothing_is_recognised_leads_to_the_form_and_works_once_it_is_told(
    client: Client, log: bytes
) -> None:
    trend = taken_in(client, BARE.encode())
    text = client.wait_for(trend)
    assert "No column of this log was recognised" in text
    assert "Nothing is amiss" not in text
    client.get(trend)
    chosen(client, trend, CO2=("", ""), PPM2=("shown.dew_point", "degF"))
    text = client.wait_for(trend)
    assert "No column" not in text
    assert "Dew point on which the controller acts, °F<small>given</small>" in text


@pytest.mark.parametrize(
    ("column", "choice", "field", "told"),
    [
        (
            "strange", ("shown.space_t", "degF"), "p",
            f"{STRANGE}: &#34;Space Temperature&#34; is taken for space temperature shown by the controller "
            "already; leave one of the two out",
        ),
        (
            "strange", ("return.t", "%"), "u",
            f"{STRANGE}: &#34;%&#34; is a unit of fraction; temperature is written with its unit: degF",
        ),
        ("strange", ("return.t", ""), "u", f"{STRANGE}: say in which unit its numbers are"),
        ("strange", ("chilled.water_in", "degF"), "p", f"{STRANGE}: this unit has no chilled.water_in"),
        ("Space_Dew_Point", ("outdoor.t", "degF"), "p", "Space Dew Point: &#34;Outdoor Air Temp"),
    ],
)  # fmt: skip
def test_a_choice_that_cannot_be_has_one_error_at_its_column_and_nothing_is_lost(
    client: Client, record: Store, log: bytes, column: str, choice: tuple[str, str], field: str, told: str
) -> None:
    trend = taken_in(client, log)
    text = chosen(client, trend, 422, **{column: choice, "Outdoor_Dew_Point": ("", "")})
    k = place_of(text, STRANGE if column == "strange" else column.replace("_", " "))
    top = text[text.index('<div class="problems"') : text.index("<h1>")]
    assert top.count("<li>") == 1
    assert f'<li><a href="#f-{field}{k}">{told}' in top
    assert f'<p class="ask" id="e-{k}">{told}' in text
    assert re.search(rf'<select id="f-{field}{k}" [^>]*aria-describedby="e-{k}" aria-invalid="true"', text)
    assert re.search(rf'<details class="group column [a-z]+" open>(?:(?!</details>).)*id="e-{k}"', text, re.S)
    fields = form(text)
    assert (fields[f"p{k}"], fields[f"u{k}"]) == choice
    assert fields[f"p{place_of(text, 'Outdoor Dew Point')}"] == "", "what was right is kept too"
    assert mapping_of(record, trend) == ""


def test_a_form_that_leaves_every_column_out_is_not_kept(client: Client, record: Store) -> None:
    trend = taken_in(client, BARE.encode(), "bare.csv")
    assert "name at least one column" in chosen(client, trend, 422)
    assert mapping_of(record, trend) == ""


def test_a_log_that_cannot_be_read_says_so_there_too(client: Client) -> None:
    trend = taken_in(client, b"a note, not a log", "note.csv")
    assert "note.csv: " in client.wait_for(f"{trend}/columns")
    assert "To mend" in client.post(f"{trend}/columns", 422)


def test_a_mapping_file_that_does_not_fit_its_log_can_be_put_away(
    client: Client, record: Store, log: bytes
) -> None:
    trend = taken_in(client, log)
    call = trend.split("/")[2]
    text = chosen_text([Choice("Elsewhere", "return.t", "degF")], "x.csv", "Date/Time", "%Y-%m-%d %H:%M:%S")
    for wrong, told in ((text, "has no column &#34;Elsewhere&#34;"), ("format: none", "format: found")):
        (kept,) = logs_of(record.call(call))
        data = wrong.encode()
        record.attach(data, name="x.trend.yaml", call_id=call, to=kept.id, author="Bo", device="tablet")
        assert told in client.wait_for(trend)
        assert "Say what the columns are" in client.get(trend)
        assert "Guess the columns anew" in client.wait_for(f"{trend}/columns")
        client.post(f"{trend}/columns", guess="anew")
        assert "Columns, as guessed" in client.wait_for(trend)


def test_a_form_for_other_columns_is_not_taken(client: Client, record: Store, log: bytes) -> None:
    trend = taken_in(client, log)
    fields = form(client.wait_for(f"{trend}/columns")) | {"of": "0" * 16}
    assert "look at it once more" in client.post(f"{trend}/columns", 422, **fields)
    assert mapping_of(record, trend) == ""


def test_a_choice_sent_twice_is_kept_once_and_another_from_the_same_page_as_well(
    client: Client, record: Store, log: bytes
) -> None:
    trend = taken_in(client, log)
    text = client.wait_for(f"{trend}/columns")
    fields = form(text) | {"id": record.new_id()}
    first = fields | {f"p{place_of(text, STRANGE)}": "return.rh", f"u{place_of(text, STRANGE)}": "%"}
    for sent in (first, first, fields):  # no answer came, so again; then back, and otherwise
        client.post(f"{trend}/columns", **sent)
    call = record.call(trend.split("/")[2])
    assert STRANGE in mapping_of(record, trend).rpartition("# left out")[2]
    assert [line.why for line in call.withdrawn] == ["another is kept in its place"]
    assert len(logs_of(call)[0].mappings) == 1


def test_the_columns_can_be_guessed_anew(client: Client, record: Store, log: bytes) -> None:
    trend = taken_in(client, log)
    chosen(client, trend, strange=("return.rh", "%"))
    assert "Guess the columns anew" in client.wait_for(f"{trend}/columns")
    client.post(f"{trend}/columns", guess="anew")
    assert mapping_of(record, trend) == ""
    assert "7 of 8 columns guessed" in client.wait_for(f"{trend}/columns")
    assert "Columns, as guessed" in client.wait_for(trend)


def test_the_proof_is_judged_by_the_columns_that_were_chosen(client: Client) -> None:
    trend = taken_in(client, BARE.encode(), "bare.csv")
    call, _, sha256 = trend.partition("/trends/")
    client.post(f"{call}/change", cause="bypass-shut", at="2027-07-08T06:00:00")
    assert "does not log shown.dew_point" in client.wait_for(f"{call}/proof?log={sha256}")
    chosen(client, trend, PPM2=("shown.dew_point", "degF"))
    text = client.wait_for(f"{call}/proof")
    assert "does not log shown.dew_point" not in text
    assert "Dew point since the repair" in text


def test_the_choice_goes_out_and_comes_in_and_stands_beside_the_log_for_the_commands(
    client: Client, record: Store, log: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    trend = taken_in(client, log, "hall/log: 1.csv")
    chosen(client, trend, strange=("return.rh", "%"))
    chosen(client, trend, strange=("space.rh", "%"))
    call = trend.split("/")[2]
    export_calls(record, [call], tmp_path / "call.zip")
    with open_store(tmp_path / "record.sqlite") as other:
        import_bundle(other, tmp_path / "call.zip")
        assert mapping_of(other, trend) == mapping_of(record, trend)
        unit = unit_from_text(other.unit_text(other.call(call).unit_id or ""))
        name = logs_of(other.call(call))[0].name
        assert table_of_record(other, call, name, unit).columns["space.rh"] == STRANGE, "for the report"
    with served(tmp_path) as there, Client(there) as away:
        assert "8 of 8 columns given" in away.wait_for(f"{trend}/columns")
    with zipfile.ZipFile(tmp_path / "call.zip") as archive:
        archive.extractall(tmp_path / "out")
    (path,) = (tmp_path / "out" / "calls" / call / "files").glob("*.csv")
    for words in (str(path), str(path.with_suffix("")) + ".trend.yaml"):
        assert run(words, "--json") == 0
        columns = json.loads(capsys.readouterr().out)["columns"]
        assert {"column": STRANGE, "point": "space.rh", "given": True} in columns
    assert table_of_record(record, call, str(path), unit).columns["space.rh"] == STRANGE, "the same file"


def test_a_log_of_very_many_columns_is_told_part_by_part_on_light_pages(
    at: str, client: Client, record: Store
) -> None:
    head = ",".join(["Time", *(f"ZX-{n}" for n in range(70))])
    rows = [[f"2027-07-08 {k:02d}:00", *(f"{40 + (k + n) % 7}.5" for n in range(70))] for k in range(24)]
    log = "\n".join([head, *(",".join(row) for row in rows)]).encode()
    trend = taken_in(client, log, "wide.csv")
    for first, column, point in ((60, "ZX-61", "return.t"), (0, "ZX-9", "outdoor.t")):
        text = client.wait_for(f"{trend}/columns?from={first}")
        assert f'aria-current="true">{first + 1} to {min(first + 60, 70)}' in text
        assert text.count("<select") == 2 * (10 if first else 60)
        k = place_of(text, column)
        client.post(f"{trend}/columns", **form(text) | {f"p{k}": point, f"u{k}": "degF"})
    told = trend_from_text(mapping_of(record, trend), "columns")
    assert {c.column: c.point for c in told.columns} == {"ZX-61": "return.t", "ZX-9": "outdoor.t"}
    text = client.wait_for(f"{trend}/columns")
    k = place_of(text, "ZX-0")
    text = client.post(f"{trend}/columns", 422, **form(text) | {f"p{k}": "return.t", f"u{k}": "degF"})
    assert "ZX-0: &#34;ZX-61&#34; is taken for" in text, "also where the other stands on another page"
    client.get(f"{trend}/columns")
    assert first_view(at, f"{trend}/columns") <= FIRST


def test_on_a_phone_a_column_is_said_put_right_and_kept(
    chromium: Browser, at: str, client: Client, log: bytes
) -> None:
    trend = taken_in(client, log)
    context = phone(chromium, at)
    page = context.new_page()
    errors = listened(page)
    page.goto(trend)
    settled(page)
    tapped(page.get_by_role("link", name="Say what the columns are"))
    page.wait_for_url("**/columns")
    settled(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("Columns of hall log.csv")
    point, unit = page.get_by_label(f"Is {STRANGE}"), page.get_by_label(f"In {STRANGE}")
    expect(page.get_by_label("Is Space Dew Point")).to_be_hidden()
    tapped(page.locator("summary", has_text="Space Dew Point").first)
    expect(page.get_by_label("Is Space Dew Point")).to_have_value("shown.dew_point")
    point.select_option("Return air: relative humidity")
    unit.select_option("°F")
    tapped(page.get_by_role("button", name="Keep the columns"))
    mend = page.locator(".problems").get_by_role("link")
    expect(mend).to_contain_text(
        f'{STRANGE}: "degF" is a unit of temperature; fraction is written with its unit: %'
    )
    expect(point).to_have_value("return.rh")
    tapped(mend)
    expect(unit).to_be_focused()
    expect(unit).to_have_accessible_description(re.compile('"degF" is a unit of temperature'))
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert page.evaluate(TOO_SMALL) == []
    found = {}
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        found[scheme] = [v["id"] for v in Axe().run(page).response["violations"]]
    assert found == {"light": [], "dark": []}
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    unit.select_option("%")
    tapped(page.get_by_role("button", name="Keep the columns"))
    page.wait_for_url(f"**{trend}")
    settled(page)
    expect(page.get_by_role("heading", name="Columns, as given")).to_be_visible()
    row = page.get_by_role("row").filter(has=page.get_by_role("rowheader", name=STRANGE))
    expect(row).to_contain_text("return air")
    page.reload()
    settled(page)
    expect(row).to_contain_text("given")
    assert errors == []
    context.close()
