"""The ``flipkit`` command: read what was asked, call one function, print what it says.

Heavy modules are imported inside the commands, so that each starts as fast as it can.
"""

from __future__ import annotations

import errno
import sys
from typing import Any

import click

from flipkit.cli.answers import quiet_option, refuse, say, speak_to_any_console
from flipkit.cli.books import assumptions, check, convert, item, lab, report, start
from flipkit.cli.buying import buy
from flipkit.cli.packing import packing
from flipkit.cli.prices import fees, net_price, offer, parcel, protect
from flipkit.cli.record import gone, listed, log, price, sold, timesheet
from flipkit.errors import FlipkitError
from flipkit.owned import end_on_signals


class _Commands(click.Group):
    """A group that turns the kit's own errors into one line and exit status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        end_on_signals()
        speak_to_any_console()
        try:
            return super().invoke(ctx)
        except FlipkitError as error:
            refuse(str(error))
        except OSError as error:
            if error.errno in (None, errno.EPIPE):
                raise
            refuse(_disk_words(error))
        except (KeyboardInterrupt, click.Abort):  # the second one where a question was open
            kept = " before the pages were done. An earlier pack stands as it was."
            say(f"\nflipkit: stopped{kept if ctx.invoked_subcommand == 'report' else ''}", err=True)
            sys.exit(130)
        except RecursionError:
            refuse("a file is nested too deeply: look at the files beside your books that end in .toml")
        except MemoryError:
            refuse("the computer has too little memory for this: close other programs, or look back over less")

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Every command with its whole sentence."""
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, self.commands[name].get_short_help_str(1_000)) for name in sorted(self.commands)]
            )


def _disk_words(error: OSError) -> str:
    """What the system would not do with a file, and what helps."""
    mend = {
        errno.ENOSPC: "make room on the disk, then run it again",
        errno.EDQUOT: "make room on the disk, then run it again",
        errno.EROFS: "name a folder that can be written to",
        errno.EACCES: "look at the rights of that file or folder",
        errno.EPERM: "look at the rights of that file or folder",
    }.get(error.errno or 0, "look at that file or folder")
    if getattr(error, "winerror", None) == 32:  # Windows: another program has it open
        mend = "close the program that has it open, then run it again"
    place = f"{error.filename}: " if error.filename else ""
    return f"{place}{error.strerror}: {mend}"


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="flipkit")
def main() -> None:
    """Find out which kinds of second-hand things pay for your hours of work.

    Example: flipkit report my-books
    """


for command in (report, lab, start, check, convert, log, listed, price, sold, gone, timesheet):
    command.params.append(quiet_option)
    main.add_command(command)
for command in (item, assumptions, parcel, fees, net_price, protect, packing, buy, offer):
    main.add_command(command)
