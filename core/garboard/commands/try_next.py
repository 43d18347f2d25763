"""`garboard try-next`: keep what is foreseen of the propeller tried next, so that its runs can prove it wrong."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from garboard.commands.hulls import author_of, save_all, tablet_option, writing_in
from garboard.faults import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from garboard.records import Forecast
    from garboard.report.terminal import Tools


@click.command("try-next", short_help="Keep the forecast of the propeller to try next.")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.argument("hull")
@click.option("--job", default="", help="The job's id; not needed when the boat has one job.")
@click.option("--propeller", default="", help="Which one, as the advice calls it; the one it would try first if none.")
@click.option("--by", required=True, help="Who tries it.")
@tablet_option
@click.pass_context
def command(context: click.Context, folder: Path, hull: str, job: str, propeller: str, by: str, tablet: str) -> None:
    """Keep what is foreseen of the propeller to try next. The first runs with it show whether that held."""
    from garboard.history.authoring import keep_forecast
    from garboard.judging.assessing import assess_hulls

    tools: Tools = context.obj
    host = tools.host_for(folder)
    tools.tell_broken_plugins(host)
    offered: dict[str, list[Forecast]] = {}
    for found in assess_hulls(folder, host, hull):
        offered[found.view.job.id] = [one for item in found.assessed for one in item.finding.forecasts]
    with writing_in(folder, hull, job) as (hulls, boat, chosen):
        forecast = _chosen(offered.get(chosen, ()), propeller)
        state = boat.state_of(chosen)
        save_all(hulls, [keep_forecast(author_of(hulls, state, tablet, by), state, chosen, forecast)])
    for one in forecast.expected:
        click.echo(
            f"{forecast.propeller}, {one.of} engine: {one.low} to {one.high}, chance {one.chance} %. It is kept."
        )


def _chosen(offered: Sequence[Forecast], propeller: str) -> Forecast:
    """The forecast a person means. Raises InputError where nothing is foreseen, or nothing of that name."""
    if not offered:
        cure = "make the runs with the one fitted first"
        raise InputError("try-next", [Fault("advice", "a job that foresees other propellers", "none", cure=cure)])
    if not propeller:
        return offered[0]
    found = next((one for one in offered if one.propeller == propeller), None)
    if found is None:
        known = " or ".join(repr(one.propeller) for one in offered)
        raise InputError("try-next", [Fault("--propeller", known, repr(propeller))])
    return found
