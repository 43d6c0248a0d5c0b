"""A nest whose group does not show clearly enough."""

from __future__ import annotations

import pytest


def test_a_nest_of_open_group_gets_advice_and_is_called_no_more_than_a_nest(
    new_job, new_pass, ask
):
    """One nest among many short chips is enough; another small unsure form is not."""
    nest = {
        "code": "5.3",
        "group": "5",
        "share": 0.07,
        "sure": False,
        "candidates": ["5.3", "2.3", "1.3"],
        "mix": {"6.2": 0.93, "5.3": 0.07},
    }
    reading = {
        "schema": "bluecurl.reading/1",
        "form": nest,
        "heat": None,
        "chips": [],
        "usable": "with care",
    }
    advice = ask(new_job("303", [new_pass(28, 0.04, reading=reading)]))
    assert advice["verdict"] == "change"
    assert "conical" not in advice["because"]
    reading["form"] = {**nest, "code": "5.2", "candidates": ["5.2", "2.2"]}
    assert (
        ask(new_job("303", [new_pass(28, 0.04, reading=reading)]))["verdict"]
        == "retake the photo"
    )


@pytest.mark.parametrize(
    "row",
    [
        (["5.3", "2.3", "1.3"], "snarl is certain", "form is not certain"),
        (["5.3", "5.1"], "form is not certain", "snarl is certain"),
    ],
)
def test_a_nest_of_open_group_is_called_certain_as_a_nest(row, new_job, new_pass, ask):
    """What is known is said: a nest is sure, from which form it came is not."""
    candidates, said, not_said = row
    form = {
        "code": "5.3",
        "group": "5",
        "share": 0.6,
        "sure": False,
        "candidates": candidates,
        "mix": {"5.3": 0.6, "6.2": 0.4},
    }
    reading = {"schema": "bluecurl.reading/1", "form": form, "chips": [], "usable": "yes"}
    why = " ".join(ask(new_job("303", [new_pass(28, 0.04, reading=reading)]))["trust_why"])
    assert said in why
    assert not_said not in why
