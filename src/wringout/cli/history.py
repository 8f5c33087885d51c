"""``wringout history``: visits to a unit, what differs from how it was left, what is learned of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wringout.cli.known_unit import PROOF_HELP, attached_proofs, read_fingerprint, read_proof
from wringout.cli.record_options import STORE_NOTE, call_named, open_record, store_option
from wringout.errors import DataError, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wringout.documents.call import Call
    from wringout.history.fingerprint import LearnedVisit
    from wringout.history.learning import Verdict
    from wringout.history.proofs import HeldProof
    from wringout.history.visits import Visit
    from wringout.quantity import UnitSystem

__all__ = ["command"]


@click.command(
    "history",
    epilog=f"{STORE_NOTE} Exit codes: 0 told, 1 our fault, 2 something in the input to mend. "
    "Example: wringout history call.yaml --learn -o unit.fingerprint.json",
)
@click.argument("calls", metavar="CALL...", nargs=-1)
@click.option("--unit", default=None, metavar="NAME", help="All calls of this unit in the record.")
@store_option
@click.option("--learn", is_flag=True, help="Learn the healthy machine from visits that are proven.")
@click.option(
    "-o", "--output", default=None, metavar="FILE", help="Fingerprint to write; one that is there grows."
)
@click.option(
    "--proof",
    "proofs",
    multiple=True,
    metavar="FILE",
    help=PROOF_HELP,
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of words.")
@click.option("--units", type=click.Choice(["ip", "si"]), default=None, help="Units; else those of the unit.")
def command(
    calls: tuple[str, ...],
    unit: str | None,
    store: str | None,
    learn: bool,
    output: str | None,
    proofs: tuple[str, ...],
    as_json: bool,
    units: UnitSystem | None,
) -> None:
    """Visits to the unit of CALL..., how each left it, and what the last one found otherwise.

    CALL is a call document or a call in the record; several are calls of one unit.
    """
    from wringout.cli.history_text import history_document, history_lines, learned_lines
    from wringout.documents.overview import system_of
    from wringout.history.visits import visits_of
    from wringout.showing.visits import history_of

    if learn and output is None:
        raise InputError("name the file to write: --learn -o unit.fingerprint.json", "-o")
    if not learn and (output is not None or proofs):
        raise InputError("this goes with --learn", "-o" if output is not None else "--proof")
    loaded, attached = _loaded(calls, unit, store)
    visits = visits_of(loaded)
    if not visits:
        raise InputError("nothing happened in these calls yet, so there is no visit", "CALL")
    system = units or system_of(visits[-1].unit)
    verdicts = _learned(visits, proofs, attached, Path(output)) if output is not None else []
    told = history_of(loaded)
    if as_json:
        document = history_document(visits, told.left, told.found, verdicts, system)
        click.echo(json.dumps(document, ensure_ascii=False, indent=1))
        return
    lines = history_lines(visits, told.left, told.found, system)
    if output is not None:
        lines += learned_lines(verdicts, read_fingerprint(Path(output)), visits[-1].unit, output, system)
    click.echo("\n".join(lines))


def _loaded(calls: Sequence[str], unit: str | None, store: str | None) -> tuple[list[Call], list[HeldProof]]:
    """The calls, and the proofs that are attached to those of the record."""
    from wringout.catalogue.calls import load_call, vocabulary

    if (unit is None) == (not calls):
        raise InputError("give calls, or --unit with the name of a unit in the record", "CALL")
    found: list[Call] = []
    proofs: list[HeldProof] = []
    for call in calls:
        if Path(call).exists() or Path(call).suffix.lower() in {".yaml", ".yml", ".json"}:
            found.append(load_call(call))
        else:
            with open_record(store, create=False) as record:
                call_id = call_named(record, call)
                found.append(record.call_document(call_id, vocabulary()))
                proofs += attached_proofs(record, call_id)
    if unit is not None:
        with open_record(store, create=False) as record:
            ids = [u.unit_id for u in record.units() if unit in (u.name, u.unit_id)]
            if len(ids) != 1:
                known = ", ".join(dict.fromkeys(u.name for u in record.units())) or "none"
                many = f"{len(ids)} units have this name; give the id of one: {', '.join(ids)}"
                raise InputError(many if ids else f"no such unit in the record; there are: {known}", "--unit")
            there = [c for c in record.calls() if c.unit_id == ids[0] and not c.withdrawn]
            found += [record.call_document(c.call_id, vocabulary()) for c in there]
            proofs += [proof for c in there for proof in attached_proofs(record, c.call_id)]
        if not found:
            raise InputError("this unit has no calls in the record", "--unit")
    return found, proofs


def _learned(
    visits: Sequence[Visit], proofs: Sequence[str], attached: Sequence[HeldProof], output: Path
) -> list[Verdict]:
    """Learn from the visits, and write what was learned beside what the file held already."""
    from wringout.history.fingerprint import check_unit, fingerprint_text, merged
    from wringout.history.proofs import proven_visits, still_proven
    from wringout.showing.known_unit import verdicts

    unit = visits[-1].unit
    before: tuple[LearnedVisit, ...] = ()
    if output.exists():
        there = read_fingerprint(output)
        check_unit(there, unit, str(output))
        before = there.visits
    proven = _proven(proofs, visits)
    proven += [visit for proof in still_proven(attached) for visit in proven_visits(proof, visits)]
    judged = verdicts(visits, unit, proven)
    learned = [verdict.learned for verdict in judged if verdict.learned is not None]
    if not learned:
        why = "; ".join(f"{v.visit.first:%Y-%m-%d %H:%M}: {v.why}" for v in judged[-3:])
        raise InputError(f"no proven visit to learn from ({why})", "--learn")
    text = fingerprint_text(merged([*before, *learned], unit))
    beside = output.with_name(output.name + ".part")
    try:
        beside.write_text(text, encoding="utf-8")
        beside.replace(output)
    except OSError as error:
        raise DataError(f"{output}: cannot be written: {error.strerror or error}") from None
    return judged


def _proven(proofs: Sequence[str], visits: Sequence[Visit]) -> list[Visit]:
    """Visits within the days that proof documents speak of; each has to prove at least one."""
    from wringout.history.proofs import proven_visits

    found: list[Visit] = []
    for path in proofs:
        proof = read_proof(path)
        if proof.verdict != "proven":
            raise InputError(f"its verdict is {proof.verdict}, not proven", f"{path}: verdict")
        within = proven_visits(proof, visits)
        if not within:
            raise InputError(
                f"no visit between {proof.begin:%Y-%m-%d %H:%M} and {proof.end:%Y-%m-%d %H:%M}: it proves "
                "other visits",
                "--proof",
            )
        found += within
    return found
