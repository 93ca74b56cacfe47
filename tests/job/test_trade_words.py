"""Words of other trades lead to the keys that do it, or are told that nothing does."""

import pytest

from sightsize.base.schemas import known_keys, schema
from sightsize.job.trade_words import all_words, answers, keys_meant, plain_word
from sightsize.report.explain import explain_text

WORDS = [
    *("brightness", "contrast", "saturation", "vibrance", "clarity", "highlights", "shadows"),
    *("whites", "borderless", "bleed", "quantity", "qty", "count", "dpi"),
    *("resolution", "size", "margin", "border", "black_and_white", "bw", "sepia"),
    *("vignette", "crop", "rotate", "straighten", "sharpness", "noise"),
]


@pytest.mark.parametrize("word", WORDS)
def test_a_photographers_word_is_explained(word: str) -> None:
    said = explain_text(word)
    assert any(name in said for name, _ in known_keys()) or word in ("borderless", "bleed")


def test_contrast_is_no_slider_but_a_paper_grade() -> None:
    assert keys_meant("contrast") == ["tone.grade", "local_contrast.gain"]
    assert "contrast" not in schema()["$defs"]["tone"]["properties"]


def test_words_stand_as_they_are_looked_up() -> None:
    assert all(word == plain_word(word) for word in all_words())
    assert all(keys_meant(word) or answers(word) for word in all_words())
    assert answers("No-such_word") == keys_meant("No-such_word") == []


def test_an_answer_names_keys_that_there_are() -> None:
    keys = {name for name, _ in known_keys()}
    tables = {name.partition(".")[0] for name in keys}
    for each in schema()["x-answers"]:
        for word in each["answer"].replace("(", " ").replace(",", " ").split():
            name = word.strip(".:)")
            if "." in name and name.partition(".")[0] in tables:
                assert name in keys, name
