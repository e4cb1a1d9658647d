"""Tags and foods of a practice that mean the same: merged under one word, and parted again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.items import Table

from miner import ledger
from miner.caseload.places import client_folders, is_remote
from miner.caseload.running import Progress
from miner.core.messages import MinerError, closest
from miner.core.results.noting import LookAlike, Merge, Merges, Reworded, WordCount
from miner.ledger import replay
from miner.records import read_client
from miner.records.client import Client, Settings
from miner.records.read.files import read_toml
from miner.records.read.settings import ClientFile, PracticeFile, followed
from miner.records.synonyms import alike, key_of, standing_for, words_behind
from miner.records.text_columns import fold
from miner.records.write.settings_file import change
from miner.rulebook import Cautions
from miner.steps.client_ledger import ledger_of
from miner.steps.opening import rules_of
from miner.tables.columns import whole_words
from miner.tables.food.foods import WordsNoted, terms, words_noted

FILE = "practice.toml"
TABLES = {"tag": "synonyms", "food": "food_synonyms"}


@dataclass(frozen=True, slots=True)
class NotedBy:
    """One client of a practice: the folder's name, the records, the words noted."""

    name: str
    client: Client
    words: WordsNoted


@dataclass(frozen=True, slots=True)
class PracticeWords:
    """The words of a practice.

    Attributes:
        clients: those who could be read.
        unreadable: folders that could not be, and why.
        merged: by kind, each merged word, folded, and the one it is written to stand for.
    """

    clients: tuple[NotedBy, ...]
    unreadable: tuple[tuple[str, str], ...]
    merged: dict[str, dict[str, str]]

    def holds(self, kind: str, word: str) -> bool:
        """Say whether any client noted a word."""
        return any(item.words.own(kind, word) in item.words.known(kind) for item in self.clients)

    def known(self, kinds: Iterable[str]) -> tuple[str, ...]:
        """Return every word of some kinds, sorted."""
        every = (item.words.known(kind) for item in self.clients for kind in kinds)
        return tuple(sorted(frozenset().union(*every)))

    def counted(self, kind: str, words: Sequence[str], name: str) -> WordCount:
        """Return how often any of some words was noted, under a name."""
        found = [item.words.counted(kind, words) for item in self.clients]
        return WordCount(
            name,
            times=sum(times for times, _ in found),
            days=sum(days for _, days in found),
            clients=sum(times > 0 for times, _ in found),
        )


def practice_words(practice: Path, progress: Progress | None = None) -> PracticeWords:
    """Read the clients of a practice and count what they noted.

    Args:
        practice: the practice's folder.
        progress: told what is being done and the share done.

    Raises:
        MinerError: it is no folder of client folders, or ``practice.toml`` cannot be used.
    """
    if is_remote(str(practice)):
        raise MinerError("steps.practice_in_store")
    shared = read_toml(practice / FILE, PracticeFile)
    clients, unreadable = [], []
    names = client_folders(str(practice))
    for at, name in enumerate(names):
        if progress is not None:
            progress("Reading the clients", at / len(names))
        try:
            client = read_client(practice / name, practice=practice)
        except MinerError as error:
            unreadable.append((name, error.message))
        else:
            clients.append(NotedBy(name, client, words_noted(client)))
    tables = {"tag": shared.synonyms, "food": shared.food_synonyms}
    merged = {
        kind: {fold(own): fold(kept) for own, kept in table.items()}
        for kind, table in tables.items()
    }
    return PracticeWords(tuple(clients), tuple(unreadable), merged)


def names_caution(cautions: Cautions) -> Callable[[str], bool]:
    """Return what says whether words name a medicine, a pregnancy or an illness."""
    pattern = whole_words(
        [*cautions.medicine_words, *cautions.pregnancy_words, *cautions.illness_words]
    )
    return lambda words: pattern.search(words) is not None


LONGEST = 60
MAX_NAMED = 12


def merge(
    practice: Path,
    words: Sequence[str],
    into: str,
    kind: str | None = None,
    *,
    preview: bool = False,
    rules: Path | None = None,
    progress: Progress | None = None,
) -> Merge:
    """Put words under one for every client, in ``practice.toml``.

    Args:
        practice: the practice's folder.
        words: tags, or words of foods.
        into: the word that stands for them.
        kind: "tag" or "food", where the words are both.
        preview: say what it comes to, and write nothing.
        rules: a folder with rule books of one's own.
        progress: told what is being done and the share done.

    Raises:
        MinerError: a word is not known, names a medicine or an illness, or is merged already; or
            the file cannot be written.
    """
    held = practice_words(practice, progress)
    named, target = tuple(dict.fromkeys(map(_word, words))), _word(into)
    kind = kind or _kind(held, named)
    _require_known(held, kind, named)
    books = rules_of(practice / "client", rules)
    _require_habits([*named, target], names_caution(books.cautions))
    _require_free(held.merged[kind], kind, named, target)
    after = held.merged[kind] | dict.fromkeys(named, target)
    followed(TABLES[kind], after, practice / FILE)
    found = _result(held, practice, kind, (target, *named), after)
    if preview:
        return replace(found, action="preview")
    _write(practice, kind, dict.fromkeys(named, target), ())
    return found


def part(
    practice: Path,
    words: Sequence[str],
    kind: str | None = None,
    *,
    progress: Progress | None = None,
) -> Merge:
    """Let merged words stand for themselves again; of a word that stands for others, all of them.

    Args:
        practice: the practice's folder.
        words: merged words, or those they were merged into.
        kind: "tag" or "food", where a word is merged as both.
        progress: told what is being done and the share done.

    Raises:
        MinerError: a word is not merged, or the file cannot be written.
    """
    held = practice_words(practice, progress)
    named = tuple(dict.fromkeys(map(_word, words)))
    kinds = [each for each in TABLES if _of(held.merged[each], named)]
    if kind is None and len(kinds) > 1:
        raise _both(named[0])
    kind = kind or (kinds[0] if kinds else "tag")
    table = held.merged[kind]
    for word in named:
        if not _of(table, (word,)):
            known = sorted(table)[:MAX_NAMED]
            code = "steps.not_merged" if known else "steps.none_merged"
            close = closest(word, table)
            raise MinerError(code, word=word, known=known, close=close, file=practice / FILE)
    gone = _of(table, named)
    after = {own: kept for own, kept in table.items() if own not in gone}
    found = _result(held, practice, kind, (table[gone[0]], *gone), after)
    _write(practice, kind, {}, gone)
    return replace(found, action="parted")


def _of(table: Mapping[str, str], words: Sequence[str]) -> tuple[str, ...]:
    """Return the merged words that are these, or are under these."""
    return tuple(own for own, kept in table.items() if own in words or kept in words)


def _word(text: str) -> str:
    word = fold(text)
    if not word or len(word) > LONGEST or not word.isprintable():
        raise MinerError("steps.no_word", word=text[:LONGEST], most=LONGEST)
    return word


def _kind(held: PracticeWords, words: Sequence[str]) -> str:
    kinds = [kind for kind in TABLES if all(held.holds(kind, word) for word in words)]
    if len(kinds) == 1:
        return kinds[0]
    if kinds:
        raise _both(words[0])
    known = held.known(TABLES)
    for word in words:
        if not any(held.holds(kind, word) for kind in TABLES):
            raise _unknown(word, known)
    raise MinerError("steps.two_kinds")


def _both(word: str) -> MinerError:
    return MinerError("steps.tag_and_food", word=word)


def _unknown(word: str, known: Sequence[str]) -> MinerError:
    return MinerError("steps.word_not_noted", word=word, close=closest(word, known))


def _require_known(held: PracticeWords, kind: str, words: Sequence[str]) -> None:
    for word in words:
        if not held.holds(kind, word):
            raise _unknown(word, held.known([kind]))


def _require_habits(words: Sequence[str], caution: Callable[[str], bool]) -> None:
    for word in words:
        if caution(word):
            raise MinerError("steps.not_to_be_merged", word=word)


def _require_free(table: Mapping[str, str], kind: str, words: Sequence[str], into: str) -> None:
    for word in words:
        if word == into:
            raise MinerError("steps.into_itself", word=word)
        if word in table:
            raise MinerError("steps.merged_already", word=word, other=table[word], file=FILE)
    if into in table:
        raise MinerError("steps.into_merged_word", into=into, other=table[into], file=FILE)
    for word in (*words, into):
        if kind == "food" and word not in terms(word):
            raise MinerError("steps.no_food_name", word=word)


def _result(
    held: PracticeWords,
    practice: Path,
    kind: str,
    words: Sequence[str],
    after: Mapping[str, str],
) -> Merge:
    """Return what it comes to that these words are merged so; the first stands for the others."""
    behind = {own for own, kept in followed(TABLES[kind], after, practice).items() if kept in words}
    together = [*words, *sorted(behind - {*words})]
    own = {item.name: _own(item, kind) for item in held.clients}
    reworded = [
        each
        for item in held.clients
        for each in _reworded(item, _settings(item, kind, {**after, **own[item.name]}))
    ]
    return Merge(
        practice=practice.resolve().name,
        kind=kind,
        action="merged",
        into=words[0],
        words=tuple(held.counted(kind, [word], word) for word in words),
        together=held.counted(kind, together, words[0]),
        reworded=tuple(reworded),
        apart=tuple(name for name, table in own.items() if {*words} & {*table}),
        unreadable=held.unreadable,
    )


def _own(item: NotedBy, kind: str) -> dict[str, str]:
    table = getattr(read_toml(item.client.folder / "client.toml", ClientFile), TABLES[kind])
    return {fold(own): fold(kept) for own, kept in table.items()}


def _settings(item: NotedBy, kind: str, table: Mapping[str, str]) -> Settings:
    known, now = followed(TABLES[kind], table, item.client.folder), item.client.settings
    if kind == "tag":
        return replace(now, synonyms=known)
    return replace(now, food_synonyms=known)


def _reworded(item: NotedBy, after: Settings) -> Iterator[Reworded]:
    """Yield the fixed questions and the open kept ideas of a client that other words count as."""
    before, past = item.client.settings, ledger_of(item.client)

    def words(factor: str, settings: Settings) -> tuple[str, ...]:
        return words_behind(standing_for(factor, settings), settings)

    for asked in ledger.questions(past.book):
        now = words(asked.named, after)
        if now != words(asked.named, before):
            late = past.looked_since(asked) and now != asked.words
            yield Reworded(item.name, "question", asked.named, "after" if late else "before")
    for kept in replay(past.book).kept:
        for factor in kept.what.factors if kept.closed_at is None else ():
            if words(factor, after) != words(factor, before):
                yield Reworded(item.name, "kept", factor, "goes_on")


def _write(practice: Path, kind: str, add: Mapping[str, str], gone: Sequence[str]) -> None:
    name = TABLES[kind]

    def edit(document: TOMLDocument) -> None:
        table = document.get(name)
        if table is None:
            table = document[name] = tomlkit.table()
        for key in [key for key in table if fold(key) in gone]:
            table.pop(key)
        for own, kept in add.items():
            table[own] = kept
        if isinstance(table, Table) and not table.as_string().strip():
            document.pop(name)

    change(practice / FILE, PracticeFile, edit)


MAX_COMMON, MAX_RARE = 200, 2000


def merges(
    practice: Path, *, rules: Path | None = None, progress: Progress | None = None
) -> Merges:
    """Return what is merged in a practice, and pairs of words that look alike.

    The word on more days, then that of more clients, then that noted more often is the commoner;
    of two that are as common neither is proposed. Words of medicines, pregnancy and
    illness are in no pair.

    Args:
        practice: the practice's folder.
        rules: a folder with rule books of one's own.
        progress: told what is being done and the share done.

    Raises:
        MinerError: it is no folder of client folders, or a file of it cannot be used.
    """
    held = practice_words(practice, progress)
    caution = names_caution(rules_of(practice / "client", rules).cautions)
    found: list[LookAlike] = []
    for kind in held.merged:
        free = [word for word in held.known([kind]) if word not in held.merged[kind]]
        # A phrase is made of its words, and merging those merges it.
        free = [word for word in free if kind == "tag" or " " not in word]
        counts = (held.counted(kind, [word], word) for word in free if not caution(word))
        found += _pairs(kind, sorted(counts, key=_rank))
    told = tuple(
        (kind, own, kept) for kind, table in held.merged.items() for own, kept in table.items()
    )
    common = sorted(found, key=lambda pair: (-pair.commoner.days, pair.commoner.word))
    return Merges(practice.resolve().name, told, tuple(common), held.unreadable)


def _rank(count: WordCount) -> tuple[int, int, int, str]:
    return -count.days, -count.clients, -count.times, count.word


def _pairs(kind: str, counts: list[WordCount]) -> Iterator[LookAlike]:
    """Yield each rarer word with the commonest that it looks like."""
    keys = [key_of(count.word) for count in counts]
    for at, count in enumerate(counts[:MAX_RARE]):
        for before in range(min(at, MAX_COMMON)):
            other = counts[before]
            if alike(count.word, other.word, keys[at], keys[before]):
                yield LookAlike(kind, count, other, _rank(count)[:3] == _rank(other)[:3])
                break
