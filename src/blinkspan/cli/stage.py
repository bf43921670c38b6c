"""The command that films a scene."""

from pathlib import Path

import click


def _list_scenes(ctx: click.Context, _param: click.Parameter, asked: bool) -> None:
    if asked:
        from blinkspan.stage.catalogue import CATALOGUE

        click.echo("\n".join(CATALOGUE))
        ctx.exit()


@click.command()
@click.argument("scene")
@click.argument("out_dir", type=click.Path(path_type=Path))
@click.option(
    "--list",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_list_scenes,
    help="Name the built-in scenes and exit.",
)
def stage(scene: str, out_dir: Path) -> None:
    """Film SCENE, a built-in name or a TOML file, into OUT_DIR with its truth beside it."""
    from blinkspan.cli.waiting import Waiting
    from blinkspan.stage.render import render_scene
    from blinkspan.stage.scene_file import find_scene

    found = find_scene(scene)
    with Waiting("filming", None, "frames") as waiting:
        staged = render_scene(found, out_dir, waiting.reach)
    click.echo(staged.path)
    click.echo(staged.path.with_suffix(".truth.json"))
