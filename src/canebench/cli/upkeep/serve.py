"""`canebench serve`: open the bench in a browser on this machine."""

from __future__ import annotations

import webbrowser

import click

from canebench.cli.options.ledger_options import NEW, NEW_LEDGER, WHO
from canebench.cli.options.numbers import COUNT
from canebench.cli.text.words import paragraph, show, width


@click.command("serve")
@click.option("--port", type=COUNT, default=0, metavar="NUMBER", help="A fixed port [any free one].")
@click.option("--no-browser", is_flag=True, help="Only show the link; do not open it.")
@NEW_LEDGER
@NEW
@WHO
def command(*, port: int, no_browser: bool, ledger_url: str | None, who: str | None) -> None:
    """Serve the bench to this machine's browser until you press Ctrl-C. Nothing leaves the machine."""
    open_bench(ledger_url=ledger_url, who=who, port=port, no_browser=no_browser)


def open_bench(*, ledger_url: str | None, who: str | None, port: int, no_browser: bool) -> None:
    """Serve until stopped, and open the link unless that is not wanted."""
    from canebench.web.security.entry_file import addresses  # noqa: PLC0415 - help need not wait for the server
    from canebench.web.serve import serve  # noqa: PLC0415 - nor for this

    def ready(link: str) -> None:
        said = "The bench is open until you press Ctrl-C. This link signs a browser in, once:"
        show(paragraph(said, columns=width()))
        click.echo(link)
        if not no_browser:
            webbrowser.open(files.address_for(link))

    with addresses() as files:
        serve(ledger_url=ledger_url, who=who, port=port, ready=ready)
