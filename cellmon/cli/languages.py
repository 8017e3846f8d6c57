"""The command about words: a file that a translator fills in."""

from __future__ import annotations

import argparse

from cellmon.cli.arguments import cell_argument
from cellmon.cli.terminal import write
from cellmon.errors import WrongUsage
from cellmon.words import say


def words_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `words`."""
    parser.add_argument("language", metavar="LANGUAGE", help='such as "de" or "pt-BR"')
    cell_argument(parser)


def words(args: argparse.Namespace) -> int:
    """Write or bring up to date the cell's file of words in one language."""
    from cellmon.export.catalogue import write_words
    from cellmon.local import is_language, number
    from cellmon.monitor.language import ENGLISH, file_of

    if args.language == ENGLISH or not is_language(args.language):
        raise WrongUsage(
            say('{language}: not another language; name one such as "de" or "pt-BR"', language=args.language)
        )
    made = write_words(file_of(args.cell, args.language), args.language)
    write(
        [
            say(
                "{file}: {translated} of {texts} texts are translated; the others are said in English.",
                file=made.path,
                translated=number(made.translated),
                texts=number(made.texts),
            ),
            say(
                'It is used where the sheet says [cell] language = "{language}".',
                language=args.language,
            ),
        ]
    )
    return 0
