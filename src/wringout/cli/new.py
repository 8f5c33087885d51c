"""``wringout new``: a unit document from a few questions."""

from __future__ import annotations

from pathlib import Path

import click

from wringout.errors import InputError

__all__ = ["command"]


@click.command(
    "new",
    epilog="Exit codes: 0 written, 2 something to mend. "
    'Example: wringout new -o unit.yaml --yes --answer name="Hall unit 2" --answer airflow="9000 cfm"',
)
@click.option(
    "-o", "--output", default="unit.yaml", show_default=True, help="File to write; - for the screen."
)
@click.option("--yes", is_flag=True, help="Ask nothing: take the default where no answer is given.")
@click.option("--answer", "given", multiple=True, metavar="KEY=VALUE", help="Answer a question beforehand.")
@click.option("--questions", is_flag=True, help="List the questions with their keys and defaults.")
def command(output: str, yes: bool, given: tuple[str, ...], questions: bool) -> None:
    """Write a unit document from a few questions; everything else is left to stated defaults."""
    from wringout.documents.draft import QUESTIONS, asked, checked, draft

    if questions:
        for question in QUESTIONS:
            taken = f" ({', '.join(question.choices)})" if question.choices else ""
            click.echo(f"{question.key}: {question.words}{taken} [{question.default}]")
        return
    path = None if output == "-" else Path(output)
    if path is not None:
        _writable(path)
    answers: dict[str, str] = {}
    for pair in given:
        key, equals, value = pair.partition("=")
        if not equals:
            raise InputError(
                f'found "{pair[:40]}", wanted KEY=VALUE, for example airflow="9000 cfm"', "--answer"
            )
        answers[key.strip()] = checked(key.strip(), value)
    while not yes and (open_one := asked(answers)) is not None:
        answers[open_one.key] = _ask(open_one.key, open_one.words, open_one.default, open_one.choices)
    text = draft(answers)
    if path is None:
        click.echo(text, nl=False)
        return
    _write(path, text)
    click.echo(
        f"{path} written. `wringout check {path}` lists what was assumed; open those lines and write",
        nl=False,
    )
    click.echo(" what you know.")


def _ask(key: str, words: str, default: str, choices: tuple[str, ...]) -> str:
    from wringout.documents.draft import checked

    if choices:
        words = f"{words} ({', '.join(choices)})"
    while True:
        answer = click.prompt(words, default=default, err=True)
        try:
            return checked(key, str(answer))
        except InputError as error:
            click.echo(f"  {error.message}", err=True)


def _writable(path: Path) -> None:
    if path.exists() or path.is_symlink():
        raise InputError("is there already and is not overwritten; give another name with -o", str(path))
    if not path.parent.is_dir():
        raise InputError("the folder is not there", str(path.parent))


def _write(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as stream:
            stream.write(text)
    except FileExistsError:
        raise InputError(
            "is there already and is not overwritten; give another name with -o", str(path)
        ) from None
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", str(path)) from None
