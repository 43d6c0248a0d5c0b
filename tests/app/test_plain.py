"""What people read of a reading: sure forms, doubtful ones, and nests of open group."""

from __future__ import annotations

from app.plain import chip_words, is_open_nest, verdict_line


def reading(code, candidates, *, sure, flags=()):
    group = code.split(".")[0] if code else None
    form = {"code": code, "group": group, "candidates": candidates, "sure": sure, "share": 0.6}
    return {"form": form, "flags": [{"code": f} for f in flags]}


def chip(kind, form, candidates, *, sure=False):
    return {"kind": kind, "form": form, "group": None, "candidates": candidates, "sure": sure}


def test_the_words_of_a_verdict():
    sure = reading("2.1", ["2.1"], sure=True)
    assert verdict_line(sure) == "long tubular coil (2.1), 60 % of the metal"
    either = reading("2.1", ["2.1", "5.1"], sure=False)
    assert verdict_line(either).startswith(
        "not sure: long tubular coil (2.1) or long conical coil (5.1)"
    )
    nest = reading("1.3", ["1.3", "2.3"], sure=False, flags=["nest-open"])
    assert verdict_line(nest) == (
        "nest of ribbon (1.3) or tubular coil (2.3), 60 % of the metal"
    )


def test_two_doubtful_nests_are_not_a_nest_for_certain():
    doubtful = reading("1.3", ["1.3", "2.3"], sure=False, flags=["not-sure"])
    assert not is_open_nest(doubtful)
    assert verdict_line(doubtful).startswith("not sure: snarled ribbon (1.3)")


def test_the_words_of_one_chip():
    assert chip_words(chip("nest", None, ["1.3", "5.3"], sure=True)) == (
        "nest of ribbon (1.3) or conical coil (5.3)"
    )
    assert chip_words(chip("nest", "1.3", ["1.3"], sure=True)) == "nest, snarled ribbon (1.3)"
    assert chip_words(chip("nest", None, ["1.3", "5.3"])).startswith("nest, not sure: ")
    assert chip_words(chip("grains", "7", ["7"], sure=True)) == "grains, elemental (7)"
    assert chip_words(chip("chip", "2.1", ["2.1", "5.1"])).startswith("not sure: long tubular")
    assert chip_words(chip("chip", None, [])) == "not sure"
    odd = chip("chip", "7", ["7"]) | {"flags": ["unlike-any", "not-sure"]}
    assert chip_words(odd) == (
        "not sure: elemental (7); it is like no chip the reader has learned from"
    )
