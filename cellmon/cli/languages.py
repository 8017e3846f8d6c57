"""The command about words: a file that a translator fills in."""

from __future__ import annotations

import argparse

from cellmon.cli.arguments import cell_argument
from cellmon.cli.terminal import write
from cellmon.errors import WrongUsage


def words_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `words`."""
    parser.add_argument("language", metavar="LANGUAGE", help='such as "de" or "pt-BR"')
    cell_argument(parser)


def words(args: argparse.Namespace) -> int:
    """Write or bring up to date the cell's file of words in one language."""
    from cellmon.export.catalogue import write_words
    from cellmon.local import is_language
    from cellmon.monitor.language import ENGLISH, file_of

    if args.language == ENGLISH or not is_language(args.language):
        raise WrongUsage(f'{args.language}: not another language; name one such as "de" or "pt-BR"')
    made = write_words(file_of(args.cell, args.language), args.language)
    write(
        [
            f"{made.path}: {made.translated:,} of {made.texts:,} texts are translated; "
            "the others are said in English.",
            f'It is used where the sheet says [cell] language = "{args.language}".',
        ]
    )
    return 0
