"""Which encoding a file of bytes that are not UTF-8 has: what its words look like in each."""

from __future__ import annotations

import re
import unicodedata
from itertools import pairwise

from miner.core.results.mapping import Option
from miner.records.proposing.notes import Notes

_OTHERS = ("mac-roman", "cp1250", "cp1251", "cp932", "gb18030", "cp949", "big5")
_ODD = re.compile(r"[^\s;,\t|]*[^\x00-\x7f][^\s;,\t|]*")
_SCRIPTS = ("LATIN", "GREEK", "CYRILLIC", "CJK", "HIRAGANA", "KATAKANA", "HANGUL")


def one_byte(raw: bytes, notes: Notes) -> str:
    """Choose the encoding in which alone its words look like words, or ask.

    Words do where their letters are of one script, no capital follows a small letter, and no sign
    stands between two letters.
    """
    every = _readings(raw)
    encoding = next(iter(every))
    fits = [each for each, text in every.items() if _looks_like_words(text)]
    shown = {each: next(iter(_ODD.findall(text)), "")[:30] for each, text in every.items()}
    if len({every[each] for each in fits}) == 1:
        fit = fits[0]
        notes.choose("encoding", fit, "letters", shown=shown[fit])
        return str(notes.get("encoding"))
    odd = "".join(dict.fromkeys(mark for mark in every[encoding] if ord(mark) > 127))[:8]
    options = [Option(each, {"encoding": each}, "text", {"shown": shown[each]}) for each in every]
    return notes.ask("encoding", "encodings", options, default=encoding, odd=odd) or encoding


def _readings(raw: bytes) -> dict[str, str]:
    """Return what the bytes say in each encoding in which they say something."""
    found = {}
    for each in ("cp1252", "latin-1", *_OTHERS):
        try:
            text = raw.decode(each)
        except UnicodeDecodeError:
            continue
        if each != "latin-1" or "cp1252" not in found:
            found[each] = text
    return found


def _looks_like_words(text: str) -> bool:
    return not any(_is_odd(word) for word in set(_ODD.findall(text)))


def _is_odd(word: str) -> bool:
    names = [unicodedata.name(mark, "").split(" ")[0] for mark in word if mark.isalpha()]
    scripts = {name for name in names if name in _SCRIPTS}
    japanese = scripts <= {"CJK", "HIRAGANA", "KATAKANA"}
    mixed = len(scripts) > 1 and not japanese
    inner = pairwise(word)
    capital = any(a.islower() and b.isupper() and not b.isascii() for a, b in inner)
    return mixed or capital or re.search(r"[^\W\d_][^\x00-\x7f\w]+[^\W\d_]", word) is not None
