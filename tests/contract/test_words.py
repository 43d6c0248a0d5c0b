"""Both cores speak the same codes, and everything they can say has words for people."""

from __future__ import annotations

import importlib
import pkgutil

import pytest

from app.errors import EXIT_CODES, AppError, exit_code_of
from app.wording import (
    ERRORS,
    LEVER_WORDS,
    NOTICED_WORDS,
    SEVERITY_WORDS,
    TRUST_WORDS,
    USABLE_WORDS,
    VERDICT_WORDS,
)

# ISO 3685:1993 chip chart: groups as printed; sub-numbers from memory, as everywhere here.
ISO_FORMS = {
    "1.1", "1.2", "1.3", "2.1", "2.2", "2.3", "3.1", "3.2", "4.1", "4.2", "4.3",
    "5.1", "5.2", "5.3", "6.1", "6.2", "7", "8",
}  # fmt: skip

#: The table of exit codes that scripts rest on.
EXIT_TABLE = {
    "unexpected": 1,
    "case-invalid": 2,
    "photo-unreadable": 3,
    "photo-too-large": 3,
    "photo-not-found": 3,
    "card-not-found": 4,
    "card-mismatch": 4,
    "no-chips": 5,
    "outside-tables": 6,
    "limit-exceeded": 7,
    "logbook-busy": 8,
    "logbook-of-tomorrow": 8,
}


def _leaves(base):
    yield base
    for child in base.__subclasses__():
        yield from _leaves(child)


def _import_all(package):
    for found in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if (
            ".training" not in found.name
            and ".screens" not in found.name
            and found.name != "app.main"
        ):
            importlib.import_module(found.name)


def test_vision_names_the_forms_of_the_chart():
    from vision.terms import FORM_NAMES

    assert set(FORM_NAMES) == ISO_FORMS


def test_both_cores_know_the_same_forms_and_tints():
    import advisor.terms
    import vision.terms

    forms = {form.value for form in advisor.terms.ChipForm}
    assert forms == set(vision.terms.FORM_NAMES) == set(advisor.terms.FORM_WORDS)
    assert tuple(advisor.terms.TINTS) == tuple(vision.terms.TINTS)


def test_every_error_has_words():
    import advisor
    import app
    import vision
    from advisor.errors import AdvisorError
    from vision.errors import VisionError

    for package in (advisor, app, vision):
        _import_all(package)
    codes = {
        error.code for base in (AppError, AdvisorError, VisionError) for error in _leaves(base)
    }
    bases = {"vision-error", "advisor-error"}  # never raised themselves
    assert codes - bases - set(ERRORS) == set()


def test_no_words_for_errors_that_do_not_exist():
    assert set(EXIT_CODES) <= set(ERRORS)


@pytest.mark.parametrize("code", sorted(ERRORS))
def test_error_words_say_what_why_and_what_to_do(code):
    words = ERRORS[code]
    for sentence in (words.what, words.why, words.do):
        assert sentence[0].isupper()
        assert sentence.endswith(".")
        assert "!" not in sentence
    assert len({words.what, words.why, words.do}) == 3


@pytest.mark.parametrize(("code", "exit_code"), EXIT_TABLE.items())
def test_exit_codes(code, exit_code):
    assert exit_code_of(code) == exit_code


def test_every_flag_says_what_and_what_to_do():
    from vision.terms import FLAGS, Flag

    assert set(FLAGS) == set(Flag)
    for info in FLAGS.values():
        assert info.text.endswith(".")
        assert info.do.endswith(".")


def test_words_of_the_contract_have_words_on_the_page():
    assert set(VERDICT_WORDS) == {
        "start", "keep", "change", "look at the edge", "stop", "retake the photo", "done",
    }  # fmt: skip
    assert set(LEVER_WORDS) == {"speed", "feed", "depth", "edge", "support", "coolant"}
    assert set(USABLE_WORDS) == {"yes", "with care", "retake"}
    assert set(SEVERITY_WORDS) == {"ok", "near", "exceeded"}
    assert set(TRUST_WORDS) == {"good", "fair", "poor"}
    assert set(NOTICED_WORDS) == {
        "rubbing", "squeal", "chatter", "hammering", "tearing", "dull finish", "burr",
        "labouring", "stalled", "slipped", "dug in", "wrapped on work", "work hot",
        "smoke", "sparks",
    }  # fmt: skip


def test_core_errors_that_say_everything_speak_for_themselves():
    from app.wording import error_message
    from vision.errors import PhotoUnreadable

    whole = "The file is empty; the copy failed. Copy it again."
    assert error_message(PhotoUnreadable(whole)) == whole
    short = error_message(PhotoUnreadable("x.jpg is no picture"))
    assert "x.jpg is no picture." in short
    assert short.endswith(ERRORS["photo-unreadable"].do)
    assert "secret" not in error_message(RuntimeError("secret"))
