"""The command line: ``bluecurl`` and its commands.

Data goes to standard output, talk to standard error. What a command needs is imported
inside it, so that ``--help`` and the light commands start at once.
"""

# ruff: noqa: FBT002, PLC0415, PLR0917 - typer reads options from defaults; imports: above

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from app.answers import Answers, json_line, read_cases
from app.errors import LogbookNoRow, UsageInvalid
from app.settings import home, load_settings
from app.show import Units

__all__ = ["app", "main"]

app = typer.Typer(
    name="bluecurl",
    help="Photograph your chips; get their form, their heat and the next change to make.",
    no_args_is_help=False,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
log_app = typer.Typer(help="The logbook.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(log_app, name="log")

JsonOption = Annotated[bool, typer.Option("--json", help="JSON Lines for scripts.")]
CaseArgument = Annotated[
    str,
    typer.Argument(
        metavar="CASE", help="JSON file, or - for standard input; JSON Lines are a list."
    ),
]
PortOption = Annotated[int | None, typer.Option(min=1, max=65535, help="Port of the page.")]
LanOption = Annotated[
    bool, typer.Option("--lan", help="Let phones on your network open the page.")
]
NoOpenOption = Annotated[bool, typer.Option("--no-open", help="Do not open a browser.")]


def main(argv: list[str] | None = None) -> int:
    """Run the command line and return its exit code; the door of the installed command."""
    arguments = _units_first(sys.argv[1:] if argv is None else argv)
    answers = Answers(as_json=False)
    try:
        app(args=arguments, prog_name="bluecurl")
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(bool(end.code))
    except BrokenPipeError:
        # The reader of our output went away (head, a closed window): not a failure.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # noqa: BLE001
        answers.fail(error)
    return answers.exit_code


def _units_first(arguments: list[str]) -> list[str]:
    """Let ``--units`` stand anywhere, because that is where hands put it."""
    moved: list[str] = []
    rest: list[str] = []
    waiting = list(arguments)
    while waiting:
        word = waiting.pop(0)
        if word == "--":
            return [*moved, *rest, word, *waiting]
        if word == "--units" and waiting:
            moved += [word, waiting.pop(0)]
        elif word.startswith("--units="):
            moved.append(word)
        else:
            rest.append(word)
    return [*moved, *rest]


@app.callback(invoke_without_command=True)
def _start(
    context: typer.Context,
    units: Annotated[
        Units | None, typer.Option(help="What people read; never the JSON.")
    ] = None,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    """Read chips, get the next change. Without a command: open the page."""
    if version:
        from app.health import version_text

        typer.echo(version_text())
        raise typer.Exit
    context.obj = units
    if context.invoked_subcommand is None:
        serve()


def _units(context: typer.Context) -> Units:
    chosen = context.obj
    return chosen if isinstance(chosen, Units) else load_settings().units


def _end(answers: Answers) -> None:
    if answers.exit_code:
        raise typer.Exit(answers.exit_code)


@app.command()
def serve(
    port: PortOption = None, lan: LanOption = False, no_open: NoOpenOption = False
) -> None:
    """Start the page on this computer and open it."""
    from app.serve import run_page

    raise typer.Exit(run_page(port=port, lan=lan, open_browser=not no_open))


@app.command()
def demo(context: typer.Context) -> None:
    """Read a demo photo, print the reading and the advice; leaves nothing behind."""
    from app.demo import default_demo
    from app.readcommand import show_demo

    show_demo(Answers(as_json=False), default_demo(), _units(context))


@app.command()
def card(
    out: Annotated[Path, typer.Option(help="Where to write it: .pdf to print, .png to show.")],
    size: Annotated[str, typer.Option(help="a5, a4 or letter.")] = "a5",
    px_per_mm: Annotated[float, typer.Option(min=2, max=60, help="Density of a PNG.")] = 12.0,
) -> None:
    """Write the printable reference card."""
    from app.cardcommand import write_card

    typer.echo(write_card(out, size=size, px_per_mm=px_per_mm))


@app.command()
def read(
    context: typer.Context,
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO...", help="Photos or folders.")
    ],
    as_json: JsonOption = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="One line for each chip.")] = False,
    overlay: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder for photos with the outlines drawn in."),
    ] = None,
    case: Annotated[
        Path | None,
        typer.Option(metavar="CASE", help="The cut: names the metal, gives advice."),
    ] = None,
    px_per_mm: Annotated[
        float | None, typer.Option(help="Scale of the photo, if there is no card.")
    ] = None,
    check_line_mm: Annotated[
        float | None, typer.Option(help="What the card's 100 mm line really measures.")
    ] = None,
    neutral: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y",
            help="Pixel of something white or grey beside the chips, if there is no card.",
        ),
    ] = None,
    one_pass: Annotated[
        bool, typer.Option("--one-pass", help="One reading of several photos of one pass.")
    ] = False,
    need_card: Annotated[
        bool, typer.Option("--need-card", help="Fail where the card is missing.")
    ] = False,
) -> None:
    """Read the chips in photos: form, sizes, tint."""
    from app.readcommand import ReadOptions, neutral_of, read_photos

    if as_json and as_csv:
        raise UsageInvalid("--json and --csv exclude each other")
    options = ReadOptions(
        layout="json" if as_json else "csv" if as_csv else "text",
        overlay=overlay,
        px_per_mm=px_per_mm,
        neutral_px=None if neutral is None else neutral_of(neutral),
        check_line_mm=load_settings().check_line_mm if check_line_mm is None else check_line_mm,
        one_pass=one_pass,
        need_card=need_card,
        units=_units(context),
    )
    answers = Answers(as_json=as_json)
    read_photos(answers, photos, case, options)
    _end(answers)


@app.command()
def advise(context: typer.Context, case: CaseArgument, as_json: JsonOption = False) -> None:
    """Say which one setting to change next, by how much and why."""
    from app.engine import advise_case
    from app.plain import advice_lines

    answers, units = Answers(as_json=as_json), _units(context)
    for line, found in read_cases(case):
        where = {"input": case, "line": line}
        if isinstance(found, Exception):
            answers.fail(found, **where)
            continue

        def answer(found: dict[str, object] = found) -> None:
            advice = advise_case(found, Units.METRIC if as_json else units)
            answers.say(
                json_line(advice) if as_json else "\n".join(advice_lines(advice, units))
            )

        answers.attempt(answer, **where)
    _end(answers)


@app.command()
def plan(context: typer.Context, case: CaseArgument, as_json: JsonOption = False) -> None:
    """Plan roughing and finishing passes to the target diameter within all limits."""
    from app.engine import plan_case
    from app.errors import exit_code_of
    from app.plain import plan_lines

    answers, units = Answers(as_json=as_json), _units(context)
    for line, found in read_cases(case):
        where = {"input": case, "line": line}
        if isinstance(found, Exception):
            answers.fail(found, **where)
            continue

        def answer(found: dict[str, object] = found) -> None:
            made = plan_case(found, Units.METRIC if as_json else units)
            answers.say(json_line(made) if as_json else "\n".join(plan_lines(made, units)))
            if not made["feasible"]:
                answers.note(exit_code_of("limit-exceeded"))

        answers.attempt(answer, **where)
    _end(answers)


@log_app.command("list")
def log_list(
    context: typer.Context,
    job: Annotated[int | None, typer.Option(help="Only this job.")] = None,
    as_json: JsonOption = False,
) -> None:
    """List jobs and passes, oldest first."""
    from app.logcommand import list_log

    for text in list_log(job, as_json=as_json, units=_units(context)):
        typer.echo(text)


@log_app.command("export")
def log_export(
    out: Annotated[
        Path | None, typer.Option(help="File to write; standard output without it.")
    ] = None,
    job: Annotated[int | None, typer.Option(help="Only this job.")] = None,
    as_csv: Annotated[
        bool, typer.Option("--csv", help="A table with units in its headers.")
    ] = False,
) -> None:
    """Export the logbook as JSON, or as CSV."""
    from app.logcommand import export_log

    text = export_log(job, as_csv=as_csv)
    if out is None:
        typer.echo(text.rstrip("\r\n"))
    else:
        out.write_text(text, encoding="utf-8", newline="")
        typer.echo(f"Written: {out}", err=True)


@log_app.command("undo")
def log_undo() -> None:
    """Take back the latest change of the logbook."""
    from app.logcommand import undo_log

    undone = undo_log()
    if undone is None:
        raise LogbookNoRow("there is nothing to take back")
    typer.echo(f"Taken back: {undone}")


@app.command()
def backup(
    to: Annotated[Path, typer.Argument(help="File or folder for the safety copy.")] = Path(),
) -> None:
    """Make a safety copy of the logbook, its photos and the settings."""
    from app.logbook.backup import back_up

    typer.echo(str(back_up(home(), to)))


@app.command()
def restore(
    copy: Annotated[Path, typer.Argument(help="A safety copy made by backup.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Put a safety copy in place of the present logbook; the present one is kept beside it."""
    from app.logbook.backup import restore as put_back

    if not yes:
        typer.confirm("Replace the present logbook by this copy?", abort=True, err=True)
    kept = put_back(copy, home())
    typer.echo("Restored." if kept is None else f"Restored. What was there before: {kept}")


@app.command()
def doctor() -> None:
    """Check the installation: model, tables, logbook, photo formats, disk."""
    from app.health import check_text, checks

    results = checks()
    for check in results:
        typer.echo(check_text(check))
    codes = [check.exit_code for check in results if not check.fine]
    if codes:
        raise typer.Exit(codes[0])
