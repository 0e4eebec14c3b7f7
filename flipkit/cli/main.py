"""The ``flipkit`` command: read what was asked, call one function, print what it says.

Heavy modules are imported inside the commands, so that each starts as fast as it can.
"""

from __future__ import annotations

from typing import Any

import click

from flipkit.cli.answers import refuse
from flipkit.cli.books import assumptions, check, convert, lab, report, start
from flipkit.cli.buying import buy
from flipkit.cli.packing import packing
from flipkit.cli.prices import fees, net_price, parcel, protect
from flipkit.errors import FlipkitError
from flipkit.owned import end_on_signals


class _Commands(click.Group):
    """A group that turns the kit's own errors into one line and exit status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        end_on_signals()
        try:
            return super().invoke(ctx)
        except FlipkitError as error:
            refuse(str(error))


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="flipkit")
def main() -> None:
    """Which kinds of second-hand items really pay per hour of work."""


for command in (report, lab, start, convert, check, assumptions, parcel, fees, net_price, protect, packing, buy):
    main.add_command(command)
