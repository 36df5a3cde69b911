"""Commands that serve the dashboard."""

from pathlib import Path
from typing import Annotated

import typer

from dashboard.cli_options import Host, Log, LogForm, Port, SettingsFile, WarehouseFile, log_form, progress
from shared.settings import Settings, load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()


@app.command()
def demo(host: Host = "127.0.0.1", port: Port = 8050) -> None:
    """Build the demo warehouse from its exports where it is missing or older, and serve it."""
    from etl.keeping.leftovers import sweep_all
    from warehouse_demo import WAREHOUSE, build, is_current

    sweep_all(WAREHOUSE)
    if not is_current():
        from dashboard.printing import total_words

        with progress() as step:
            report = build(step)
        typer.echo(f"Demo warehouse: {total_words(report)}.")
    serve_warehouse(WAREHOUSE, None, host, port)


@app.command()
def serve(
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    host: Host = "127.0.0.1",
    port: Port = 8050,
    prefix: Annotated[str, typer.Option(help="Path that the dashboard is served under, as /studio/.")] = "/",
    log: Log = None,
) -> None:
    """Serve the dashboard on a warehouse; on a network, to those who have an account."""
    serve_warehouse(warehouse, settings, host, port, prefix, log)


def _with_folder(settings: Settings, folder: Path | None) -> Settings:
    """The settings with the folder of the command, where the settings name none of their own."""
    if folder is None or settings.upload.folder:
        return settings
    upload = settings.upload.model_copy(update={"folder": str(folder.resolve())})
    return settings.model_copy(update={"upload": upload})


def serve_warehouse(
    warehouse: Path,
    settings: Path | None,
    host: str,
    port: int,
    prefix: str = "/",
    log: Log = None,
    folder: Path | None = None,
) -> None:
    """Serves the dashboard on a warehouse until it is stopped; `folder` is one that the Data page may read."""
    from dashboard.accounts.access import tidy
    from dashboard.accounts.store import accounts_for
    from dashboard.app import create_app
    from dashboard.questions.door.asking import Asker
    from dashboard.questions.memory.side_by_side import one_thread_a_product
    from dashboard.web.allocation import keep_freed_memory
    from dashboard.web.serving import listening, serve_forever
    from dashboard.web.warming import STATE, Warming
    from etl.keeping.access_log import AccessLog
    from shared.log_lines import use_json_lines
    from shared.warehouse import open_reading

    keep_freed_memory()
    one_thread_a_product()
    open_reading(warehouse).close()
    # Now, so that a port that is taken is told first.
    listener = listening(host, port)
    port = listener.getsockname()[1]
    asker = Asker(warehouse, _with_folder(load_settings(settings), folder))
    accounts = accounts_for(warehouse, host, behind_proxy=asker.settings.serving.behind_proxy)
    tidy(AccessLog(warehouse, kept_days=asker.settings.access.kept_days))
    application = create_app(asker, prefix=prefix, accounts=accounts)
    if log_form(log, asker.settings) is LogForm.JSON:
        use_json_lines()
    typer.echo(f"The dashboard of {warehouse.name} is at http://{host}:{port}{prefix} (stop it with Ctrl+C).")
    warming = Warming(asker)
    application.server.config[STATE] = warming.state
    warming.start()
    serve_forever(application, listener, asker.settings.serving, warming.stop)
