"""The language of the site: its words over the English ones, its way of writing numbers and dates."""

from __future__ import annotations

from pathlib import Path

from cellmon import local, words
from cellmon.intake.catalogue import read_catalogue

ENGLISH = "en"


def file_of(folder: Path, language: str) -> Path:
    """Return where a cell folder keeps its words of a language."""
    return folder / "words" / f"{language}.po"


def speak_as(folder: Path, language: str) -> None:
    """Speak a language from now on; one without a file of words has English words and its own numbers.

    Raises
    ------
    FileUnreadable
        When its file of words is there and cannot be used.
    """
    path, before = file_of(folder, language), local.language()
    found = read_catalogue(path) if language != ENGLISH and path.exists() else {}
    local.write_as(language)
    if local.language() != before or not words.speaks(found):  # else what was said before still holds
        words.speak(found)
