"""The command that opens the page."""

from pathlib import Path

import click

from blinkspan.cli.library_folder import LIBRARY_VARIABLE, USUAL_FOLDER


@click.command()
@click.argument(
    "library", type=click.Path(path_type=Path), envvar=LIBRARY_VARIABLE, default=USUAL_FOLDER
)
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="An address of this machine; any but the default lets others in, with the token.",
)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, help="By default one that is free."
)
@click.option(
    "--token",
    envvar="BLINKSPAN_TOKEN",
    show_envvar=True,
    help="What visitors have to know; required where others can reach the page.",
)
@click.option("--by", help="Whose name corrections carry; by default your user name.")
@click.option(
    "--clips",
    "folders",
    multiple=True,
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="A folder from which the page may add clips and which it may watch; repeatable.",
)
@click.option("--no-browser", is_flag=True, help="Print the address only.")
def open(
    library: Path,
    host: str,
    port: int,
    token: str | None,
    by: str | None,
    folders: tuple[Path, ...],
    no_browser: bool,
) -> None:
    """Open LIBRARY as a page: look at every press, correct it, run a study.

    The page is on this machine only and needs no network. It stays until Ctrl-C.
    """
    from blinkspan.web.launch import launch

    launch(
        library,
        host=host,
        port=port,
        token=token,
        person=by,
        folders=folders,
        browser=not no_browser,
        tell=lambda address: click.echo(f"The page is at {address}\nEnd it with Ctrl-C."),
    )
