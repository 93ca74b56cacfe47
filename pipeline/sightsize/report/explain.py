"""What the keys of a job mean, straight from the schema."""

import json

from sightsize.base.findings import nearest
from sightsize.base.schemas import RECIPE_TABLES, Node, known_keys
from sightsize.checks.run import all_checks
from sightsize.errors import UnknownKeyError
from sightsize.job.messages import key_range, kind_text


def explain_text(key: str | None) -> str:
    """Return all keys, one a line, or everything about one key, table or check."""
    keys = dict(known_keys())
    if key is None:
        rows = [f"{name:<32} {node.get('description', '')}" for name, node in keys.items()]
        return "\n".join([*rows, "", "checks:", *_check_rows()])
    if key in all_checks():
        return "\n".join(_check_lines(key, keys))
    name = _resolve(key, keys)
    inside = [(each, node) for each, node in keys.items() if each.startswith(f"{name}.")]
    lines = [name, *_facts(keys[name])]
    lines += [f"  {each:<32} {node.get('description', '')}" for each, node in inside]
    return "\n".join(lines)


def _resolve(key: str, keys: dict[str, Node]) -> str:
    if key in keys:
        return key
    endings = [name for name in keys if name.endswith(f".{key}")]
    for group in (endings, [name for name in endings if name.split(".")[0] in RECIPE_TABLES]):
        if len(group) == 1:
            return group[0]
    if endings:
        raise UnknownKeyError(f"{key!r} could be {', '.join(endings)}")
    leaves = [name.rpartition(".")[2] for name in keys]
    guess = nearest(key, [*keys, *leaves, *all_checks()])
    hint = f"; did you mean {guess!r}?" if guess else "; sightsize explain lists all keys"
    raise UnknownKeyError(f"there is no key {key!r}{hint}")


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
        level += ", which checks.accept does not change"
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
