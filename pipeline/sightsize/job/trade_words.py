"""Words that photographers use for what a job does by other keys; the schema lists them."""

from functools import cache

from sightsize.base.schemas import known_keys, schema


def plain_word(word: str) -> str:
    """Return a word as the schema lists it: in small letters, with spaces."""
    return " ".join(word.casefold().strip("{}").replace("-", " ").replace("_", " ").split())


def answers(word: str) -> list[str]:
    """Return the answers to a word that no key answers by itself."""
    plain = plain_word(word)
    return [str(each["answer"]) for each in schema()["x-answers"] if plain in each["words"]]


def keys_meant(word: str) -> list[str]:
    """Return the full names of the keys that a word leads to, in the schema's order."""
    return list(_keys_by_word().get(plain_word(word), ()))


def all_words() -> list[str]:
    """Return every word that is answered."""
    return [
        *_keys_by_word(),
        *(each for answer in schema()["x-answers"] for each in answer["words"]),
    ]


@cache
def _keys_by_word() -> dict[str, tuple[str, ...]]:
    keys: dict[str, tuple[str, ...]] = {}
    for name, node in known_keys():
        for word in node.get("x-words", ()):
            keys[word] = (*keys.get(word, ()), name)
    return keys
