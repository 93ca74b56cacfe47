"""What the keys of a job mean, straight from the schema; a photographer's words lead to them."""

import json
from collections.abc import Iterator

from sightsize.base.findings import nearest
from sightsize.base.schemas import RECIPE_TABLES, Node, known_keys, moved_names
from sightsize.checks.run import all_checks
from sightsize.errors import UnknownKeyError
from sightsize.job.messages import key_range, kind_text, show
from sightsize.job.trade_words import all_words, answers, keys_meant, plain_word


def explain_text(word: str | None) -> str:
    """Return all keys, one per line, or everything about one key, table, check or word.

    A name may be a key's and a check's: both are told. Raises UnknownKeyError.
    """
    keys = dict(known_keys())
    if word is None:
        rows = [f"{name:<32} {node.get('description', '')}" for name, node in keys.items()]
        return "\n".join([*rows, "", "checks:", *_check_rows()])
    sections = list(_sections(word, keys))
    if not sections:
        raise UnknownKeyError(_say_unknown(word, keys))
    return "\n\n".join("\n".join(lines) for lines in sections)


def _sections(word: str, keys: dict[str, Node]) -> Iterator[list[str]]:
    """Yield the lines about each thing that a word may mean."""
    plain = plain_word(word)
    yield from ([answer] for answer in answers(word))
    moved = [each for each in moved_names() if _is_called(plain, each[0])]
    yield from ([line] for line in dict.fromkeys(_say_moved(*each) for each in moved))
    named = [*_named(word, keys), *(key for _, _, key in moved)]
    yield from (_key_lines(name, keys) for name in dict.fromkeys([*named, *keys_meant(word)]))
    if plain.replace(" ", "-") in all_checks():
        yield _check_lines(plain.replace(" ", "-"), keys)


def _is_called(plain: str, name: str) -> bool:
    """Whether a word is a name, in full or by its last part."""
    return plain in (plain_word(name), plain_word(name.rpartition(".")[2]))


def _say_moved(old: str, new: str, key: str) -> str:
    """The line about an earlier name: of a key, or of a value."""
    if new == key:
        return f"{old.rpartition('.')[2]} is now called {new}."
    return f"{show(old)} is now called {show(new)}."


def _named(word: str, keys: dict[str, Node]) -> list[str]:
    """The key of a name, given in full or by its last part; none where several share it."""
    for name in (word, plain_word(word).replace(" ", "_")):
        if name in keys:
            return [name]
        endings = _endings(name, keys)
        for group in (endings, [each for each in endings if each.split(".")[0] in RECIPE_TABLES]):
            if len(group) == 1:
                return group
    return []


def _endings(name: str, keys: dict[str, Node]) -> list[str]:
    return [each for each in keys if each.endswith(f".{name}")]


def _say_unknown(word: str, keys: dict[str, Node]) -> str:
    endings = _endings(word, keys)
    if endings:
        return f"{word!r} could be {', '.join(endings)}; name one"
    leaves = [name.rpartition(".")[2] for name in keys]
    guess = nearest(word, [*keys, *leaves, *all_checks(), *all_words()])
    hint = f"did you mean {guess!r}?" if guess else "sightsize explain lists all keys"
    return f"there is no key {word!r}; {hint}"


def _key_lines(name: str, keys: dict[str, Node]) -> list[str]:
    inside = [(each, node) for each, node in keys.items() if each.startswith(f"{name}.")]
    rows = [f"  {each:<32} {node.get('description', '')}" for each, node in inside]
    return [name, *_facts(keys[name]), *rows]


def _facts(node: Node) -> list[str]:
    facts = [f"  {node.get('description', '')}", f"  takes    {kind_text(node)}"]
    if "maximum" in node:
        facts.append(f"  range    {key_range(node)}")
    elif "x-unit" in node:
        facts.append(f"  unit     {node['x-unit']}")
    if "default" in node:
        facts.append(f"  default  {json.dumps(node['default'])}")
    return facts


def _check_lines(name: str, keys: dict[str, Node]) -> list[str]:
    """What a check guards against, how it speaks, and the keys that set where it does."""
    check = all_checks()[name]
    level = " or ".join(", ".join(check.levels).rsplit(", ", 1))
    if "refuse" in check.levels and not check.is_acceptable:
        level += ", and checks.accept cannot change it"
    lines = [f"check {name}", f"  guards against {check.guards_against}", f"  level    {level}"]
    start = f"checks.{name.replace('-', '_')}_"
    return lines + [
        f"  {key:<32} {node['description']} Default: {json.dumps(node['default'])}."
        for key, node in keys.items()
        if key.startswith(start)
    ]


def _check_rows() -> list[str]:
    return [
        f"{name:<32} guards against {check.guards_against}" for name, check in all_checks().items()
    ]
