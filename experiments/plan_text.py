"""From the text of a plan file to its keys, past the slips that people make in TOML.

A parser stops at the first slip. Most are plain enough to tell what was meant: a space in a name,
a decimal comma, a word without quotes. Those are noted and read as they were meant, so that
everything else that is wrong with the file can be told at once.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

from experiments.errors import Problem
from experiments.grammar import is_plain_name

__all__ = ["parse_toml"]

_MOST = 50  # slips that are read past

_PLAIN_WORDS = {"Cannot overwrite a value": "The same key stands further up already."}
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_REMARK = r"\s*(?:#.*)?"
_HEADER = re.compile(r"(\s*)\[([^\[\]\"']+)\]" + _REMARK)
_KEY = re.compile(r"(\s*)([^=#\[\]\"']*?[^=#\[\]\"'\s])\s*=\s*(.*)")
_COMMA = re.compile(r"([-+]?\d+),(\d+)(" + _REMARK + ")")
_WORD = re.compile(r"([^\W\d][^#\"'=\[\]{}]*?)(" + _REMARK + ")")

_NAMES = "letters, digits and underscores in a name, no spaces"


def parse_toml(text: str, source: str) -> tuple[dict[str, Any] | None, list[Problem]]:
    """Read TOML, noting slips and going on where it is plain what was meant.

    Parameters
    ----------
    text : str
        The document.
    source : str
        What to call it in messages.

    Returns
    -------
    dict or None
        The keys; None if the text cannot be read to its end.
    list of Problem
        What is not TOML, each with its line; empty for a sound document.
    """
    problems: list[Problem] = []
    lines = text.replace("\r\n", "\n").split("\n")
    while len(problems) < _MOST:
        try:
            return tomllib.loads("\n".join(lines)), problems
        except tomllib.TOMLDecodeError as error:
            reason = str(error)
        except ValueError:  # whole numbers of thousands of digits
            found = "a number with very many digits"
            return None, [*problems, Problem(source, found, "a plan")]
        except RecursionError:
            return None, [*problems, Problem(source, "tables nested too deeply", "a plan")]
        place = _PLACE.search(reason)
        number = int(place[1]) if place and place[1] else None
        slip = _slip(lines[number - 1]) if number is not None else None
        if slip is None or number is None:
            return None, [*problems, _unreadable(text, source, reason)]
        found, expected, remedy, lines[number - 1] = slip
        problems.append(Problem(f"{source}:{number}", found, expected, remedy))
    return None, problems


def _slip(line: str) -> tuple[str, str, str, str] | None:
    """Recognise a slip: what was found, what was expected, the remedy, the line as meant."""
    header = _HEADER.fullmatch(line)
    if header:
        parts = [part.strip() for part in header[2].split(".")]
        meant = ".".join(map(_meant, parts))
        bad = next((part for part in parts if not _BARE.fullmatch(part)), None)
        if not bad or _meant(bad) == bad:
            return None
        return f"the name '{bad}'", _NAMES, f"Write [{meant}].", f"{header[1]}[{meant}]"
    key = _KEY.fullmatch(line)
    if not key:
        return None
    name, value = key[2].strip(), key[3]
    if not all(_BARE.fullmatch(part.strip()) for part in name.split(".")):
        meant = _meant(name)
        if meant == name:
            return None
        return f"the name '{name}'", _NAMES, f"Write {meant}.", f"{key[1]}{meant} = {value}"
    return _value_slip(f"{key[1]}{name} = ", value)


def _value_slip(start: str, value: str) -> tuple[str, str, str, str] | None:
    comma = _COMMA.fullmatch(value)
    if comma:
        meant = f"{comma[1]}.{comma[2]}"
        found = f"{comma[1]},{comma[2]}"
        return found, "a decimal point", f"Write {meant}.", f"{start}{meant}{comma[3]}"
    word = _WORD.fullmatch(value)
    if not word:
        return None
    low = word[1].lower()
    meant = low if low in ("true", "false") else f'"{word[1]}"'
    expected = "true or false in small letters" if meant == low else "words in quotes"
    return word[1], expected, f"Write {meant}.", f"{start}{meant}{word[2]}"


def _meant(name: str) -> str:
    """Write a name as TOML and formulas can take it; unchanged if it cannot be guessed."""
    if _BARE.fullmatch(name):
        return name
    plain = re.sub(r"\W+", "_", name).strip("_")
    if _BARE.fullmatch(plain):
        return plain
    return f'"{plain}"' if is_plain_name(plain) else name


def _unreadable(text: str, source: str, reason: str) -> Problem:
    place = _PLACE.search(reason)
    line, column = (place[1], place[2]) if place else (None, None)
    if line is None:
        line, column = str(text.rstrip().count("\n") + 1), "end"
    plain = _PLACE.sub("", reason)
    return Problem(
        f"{source}:{line}:{column}",
        _quoted(text, int(line)),
        "TOML",
        _PLAIN_WORDS.get(plain, f"{plain}."),
    )


def _quoted(text: str, number: int) -> str:
    line = text.splitlines()[number - 1].strip() if number <= len(text.splitlines()) else ""
    return f"'{line[:60]}'" if line else "an incomplete line"
