"""Second looks of an old hand: the same sign that means another thing somewhere else.

Each test changes one circumstance only. Unless a test names a source, its fact is common
practice, no source.
"""

from __future__ import annotations

import math

import pytest

import advisor
from advisor import section

# --- titanium ----------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["7", "8"])
def test_titanium_fines_are_the_feed_where_it_is_thin_and_the_edge_where_not(
    form, new_job, new_pass, ask
):
    # Thin chips rub (titanium stockholder's notes, read); a full chip is torn by the edge.
    thin = ask(new_job("Ti-6Al-4V", [new_pass(17, 0.04, form=form)]))
    full = ask(new_job("Ti-6Al-4V", [new_pass(17, 0.1, form=form)]))
    assert (thin["change"]["lever"], full["verdict"]) == ("feed", "look at the edge")
    sharp = ask(new_job("Ti-6Al-4V", [new_pass(17, 0.1, form=form, edge_looked_at="sharp")]))
    change = sharp["change"]
    assert change["lever"] == "speed"
    assert change["to"] < change["from"]


@pytest.mark.parametrize("form", ["1.1", "1.2"])
def test_titanium_without_curl_never_claims_a_look_that_nobody_took(
    form, new_job, new_pass, ask
):
    blind = ask(new_job("Ti-6Al-4V", [new_pass(17, 0.06, form=form)]))
    assert blind["verdict"] == "look at the edge"
    assert "found sharp" not in blind["because"]
    seen = ask(new_job("Ti-6Al-4V", [new_pass(17, 0.06, form=form, edge_looked_at="sharp")]))
    assert "found sharp" in seen["because"]


# --- built-up edge -----------------------------------------------------------------------


def test_more_speed_is_no_cure_for_a_lump_in_titanium(new_job, new_pass, ask):
    # A little too fast costs most of the edge's life (titanium stockholder's notes, read).
    lump = {"form": "2.1", "edge_looked_at": "built-up"}
    for speed in (16, 24, 28):
        titanium = ask(new_job("Ti-6Al-4V", [new_pass(speed, 0.06, **lump)]))
        assert titanium["change"]["lever"] == "edge", speed
        dry = ask(new_job("Ti-6Al-4V", [new_pass(speed, 0.06, coolant="dry", **lump)]))
        assert dry["change"]["lever"] == "coolant", speed


@pytest.mark.parametrize("metal", ["1018", "304", "6061", "4140", "C360"])
def test_a_lump_never_drives_the_speed_above_the_table(metal, new_job, new_pass, ask):
    high = advisor.material(metal).hss_m_min.high
    one = new_pass(high, 0.1, form="2.2", edge_looked_at="built-up", coolant="dry")
    advice = ask(new_job(metal, [one]))
    cut = advice["next_cut"]
    assert cut["spindle_rev_min"] <= one["cut"]["spindle_rev_min"] * (1 + 1e-9)


def test_carbide_below_its_table_welds_nothing(new_job, new_pass, ask):
    # Built-up edges in low-carbon steel: about 5 to 60 m/min (cutting texts, memory). The
    # table of carbide begins at 91 m/min, which many small lathes do not reach.
    carbide = {"material": "carbide", "rake_deg": 12}
    at = {
        speed: ask(
            new_job(
                "1018", [new_pass(speed, 0.1, form="2.2", noticed=["tearing"])], edge=carbide
            )
        )["change"]
        for speed in (40, 80)
    }
    assert (at[40]["lever"], at[40]["to"] > at[40]["from"]) == ("speed", True)
    assert "welds" in at[40]["because"]
    assert at[80]["lever"] != "speed"


def test_crumbs_of_aluminium_off_carbide_still_have_a_lever(new_job, new_pass, ask):
    advice = ask(new_job("6061", [new_pass(110, 0.1, form="7")], edge={"material": "carbide"}))
    assert advice["verdict"] == "change"


# --- interrupted, rubbing, dug in --------------------------------------------------------


def test_hammering_of_corners_is_not_the_chip(new_job, new_pass, ask):
    one = new_pass(28, 0.1, form="7", noticed=["hammering"])
    hex_bar = ask(new_job("1045", [one], work={"stock": "hex"}))["change"]
    one = new_pass(28, 0.1, form="6.2", noticed=["hammering"])
    plain = ask(new_job("1045", [one]))["change"]
    assert (hex_bar["lever"], plain["lever"]) == ("speed", "feed")
    assert hex_bar["to"] < hex_bar["from"]


def test_rubbing_with_an_ample_chip_is_the_edge(new_job, new_pass, ask):
    full = new_pass(28, 0.12, form="2.2", noticed=["rubbing"])
    thin = new_pass(28, 0.03, form="2.2", noticed=["rubbing"])
    assert ask(new_job("1045", [full]))["verdict"] == "look at the edge"
    change = ask(new_job("1045", [thin]))["change"]
    assert change["lever"] in {"feed", "depth"}
    assert change["to"] > change["from"]


def test_rubbing_names_the_depth_only_where_it_is_shallow(new_job, new_pass, ask):
    deep = ask(new_job("1045", [new_pass(28, 0.03, 0.5, form="2.2", noticed=["rubbing"])]))
    said = [deep["change"], *deep["alternatives"]]
    assert all("close to the" not in one["because"] for one in said)


@pytest.mark.parametrize(
    "row",
    [
        ("C360", {"rake_deg": 12}, "edge"),  # rake pulls the slide in: machine-shop texts
        ("1045", {"kapr_deg": 95}, "edge"),  # beyond square the bar pulls the tool in
        ("1045", {"centre_height_mm": 0.6}, "edge"),
        ("1045", {"overhang_mm": 30}, "support"),
        ("1045", {}, "depth"),
    ],
)
def test_a_tool_that_dug_in_is_held_back_before_a_dial_is_touched(row, new_job, new_pass, ask):
    metal, edge, lever = row
    one = new_pass(28, 0.1, 0.4, form="6.2", noticed=["dug in"])
    advice = ask(new_job(metal, [one], edge=edge))
    assert advice["verdict"] == "stop"
    assert advice["change"]["lever"] == lever, advice["change"]["because"]


# --- radial work -------------------------------------------------------------------------


def test_brass_crumbles_in_a_groove_too(new_job, new_pass, ask):
    blade = {"blade_width_mm": 2.0}
    kept = {
        metal: ask(
            new_job(metal, [new_pass(v, 0.05, 2.0, direction="part off", form="7")], edge=blade)
        )["verdict"]
        for metal, v in (("C360", 30), ("1045", 14))
    }
    assert kept == {"C360": "keep", "1045": "change"}


def test_parting_is_slowed_down_only_where_it_is_fast(new_job, new_pass, ask):
    for speed, slower in ((14, False), (30, True)):
        ribbon = new_pass(speed, 0.05, 2.0, direction="part off", form="1.1")
        advice = ask(new_job("1045", [ribbon], edge={"blade_width_mm": 2.0}))
        said = [advice["change"], *advice["alternatives"]]
        assert any(one["lever"] == "speed" for one in said) == slower


def test_a_face_is_fed_lighter_than_a_bar(new_job, new_pass, ask):
    to = {
        way: ask(new_job("1045", [new_pass(28, 0.05, 0.3, form="1.1", direction=way)]))[
            "change"
        ]["to"]
        for way in ("along", "face")
    }
    assert 0.05 < to["face"] < to["along"]


# --- taper -------------------------------------------------------------------------------

HELD = {"holding": "chuck and centre", "stickout_mm": 60.0, "cut_length_mm": 50.0}


def _shape(new_pass, *sizes, **more):
    places = [[4.0 + 46.0 * k / (len(sizes) - 1), d] for k, d in enumerate(sizes)]
    return new_pass(28, 0.1, 0.4, form="6.2", measured_mm=places, **more)


def test_which_end_is_thick_tells_what_gives_way(new_job, new_pass, ask):
    # Bar bends where it is free (beam); the edge dulls on the way (Rose, read); a centre
    # off the line turns a cone; between centres a barrel (Rose, read; beam).
    free = ask(new_job("1045", [_shape(new_pass, 15.2, 15.4)], work={"stickout_mm": 45.0}))
    chuck = ask(new_job("1045", [_shape(new_pass, 15.4, 15.2)], work={"stickout_mm": 45.0}))
    tail = ask(new_job("1045", [_shape(new_pass, 15.2, 15.4)], work=HELD))
    barrel = ask(new_job("1045", [_shape(new_pass, 15.2, 15.4, 15.2)], work=HELD))
    assert (free["change"]["lever"], free["change"]["to"]) == ("support", "chuck and centre")
    assert chuck["verdict"] == "look at the edge"
    assert tail["change"]["lever"] == "support"
    assert "tailstock" in tail["change"]["to"]
    assert barrel["change"]["lever"] in {"edge", "depth"}
    assert len({a["because"] for a in (free, chuck, tail, barrel)}) == 4


@pytest.mark.parametrize(
    "row", [(15.2, 15.4, "nearer to the tool"), (15.4, 15.2, "away from the tool")]
)
def test_the_tailstock_goes_over_by_half_the_taper_over_the_whole_length(
    row, new_job, new_pass, ask
):
    near, far, where = row
    # Similar triangles: 0.2 mm on the diameter over 46 mm, 60 mm from chuck to centre:
    # 0.1 mm x 60 / 46 = 0.13 mm. Thick at the tail: the centre stands away from the tool.
    change = ask(new_job("1045", [_shape(new_pass, near, far)], work=HELD))["change"]
    assert change["to"] == f"tailstock 0.13 mm {where}"


def test_a_tailstock_that_was_set_over_in_vain_is_left_alone(new_job, new_pass, ask):
    same = [_shape(new_pass, 15.2, 15.4), _shape(new_pass, 14.4, 14.6)]
    better = [_shape(new_pass, 15.2, 15.4), _shape(new_pass, 14.4, 14.5)]
    again, once = (ask(new_job("1045", passes, work=HELD)) for passes in (same, better))
    assert again["change"] is None or "tailstock" not in str(again["change"]["to"])
    assert "tailstock" in once["change"]["to"]


def test_a_taper_inside_the_tolerance_is_none(new_job, new_pass, ask):
    advice = ask(new_job("1045", [_shape(new_pass, 15.20, 15.24)], work=HELD))
    assert advice["verdict"] == "keep"


# --- before the first cut ----------------------------------------------------------------


@pytest.mark.parametrize(
    "row",
    [
        # metal, what differs, words that come with it and go without it
        ("1045", {"work": {"stickout_mm": 60.0}}, "use a centre"),
        ("C360", {"edge": {"rake_deg": 12}}, "flat first"),
        ("6061", {"edge": {"rake_deg": 0}}, "20° of rake"),
        ("1045", {"edge": {"centre_height_mm": 0.5}}, "on centre"),
        ("1045", {"edge": {"condition": "dull"}}, "Sharpen"),
        ("grey iron", {"work": {"stock": "cast skin"}}, "under the skin"),
        ("1045", {"work": {"waste_end_mm": 12.0}}, "waste end"),
    ],
    ids=lambda row: row[2].replace(" ", "-"),
)
def test_what_to_see_to_before_the_first_cut(row, new_job, ask):
    metal, other, words = row
    right = {"edge": {"rake_deg": advisor.material(metal).rake_deg.value}}
    plain = " ".join(ask(new_job(metal, **right))["do"])
    said = " ".join(ask(new_job(metal, **{**right, **other}))["do"])
    assert words in said
    assert words not in plain


def test_hands_touch_off_before_they_cut(new_job, ask):
    do = ask(new_job("304", work={"waste_end_mm": 12.0}))["do"]
    order = [
        next(n for n, step in enumerate(do) if w in step) for w in ("zero", "waste", "Take")
    ]
    assert order == sorted(order)
    assert "never dwell" in do[-1]  # a stop leaves a hard spot for the next pass


# --- the last hundredths -----------------------------------------------------------------


def test_a_spring_pass_for_what_does_not_harden(new_job, new_pass, ask):
    # An uncut pass in 304 rubs in its own skin (Outokumpu, read).
    soft = {"stiffness_n_um": 2}
    goal = {"target_diameter_mm": 15.0, "tolerance_mm": 0.01, "stickout_mm": 45.0}
    for metal, speed, says in (("C360", 60, "once more"), ("304", 14, "No spring pass")):
        one = new_pass(speed, 0.1, 0.3, form="2.2", measured_mm=[[5, 15.05]])
        advice = ask(new_job(metal, [one], work=goal, lathe=soft))
        assert advice["verdict"] == "done"
        assert says in " ".join(advice["do"])


def test_a_finer_feed_is_not_asked_for_where_it_would_be_rougher(new_job, new_pass, ask):
    # Brammertz 1961 (memory): f^2/8r + (h/2)(1 + r h/f^2); least at f = sqrt(2 r h).
    blunt = {"edge_radius_um": 60, "re_mm": 0.4}
    least = math.sqrt(2 * 0.4 * 0.018)
    heights = [section.roughness_low_feed_um(f, 0.4, 0.018) for f in (0.08, least, 0.2)]
    assert heights[1] == min(heights)
    goal = {"target_diameter_mm": 15.0, "tolerance_mm": 0.05, "roughness_rz_um": 4}
    asked = {}
    for feed in (0.12, 0.2):
        one = new_pass(28, feed, 0.1, form="2.2", measured_mm=[[5, 15.2]])
        change = ask(new_job("1045", [one], work=goal, edge=blunt))["change"]
        asked[feed] = bool(change) and change["lever"] == "feed" and change["to"] < feed
    assert asked == {0.12: False, 0.2: True}


def test_over_the_ceiling_taylor_is_named(new_job, new_pass, ask):
    # Sharma Ex. 14.1 (read): n 0.125. From 20 to 36 m/min: (20/36)^8 = 0.9 %.
    change = ask(new_job("Ti-6Al-4V", [new_pass(36, 0.06, form="2.1")]))["change"]
    assert "less than 1 %" in change["because"]
    carbide = ask(
        new_job("Ti-6Al-4V", [new_pass(90, 0.06, form="2.1")], edge={"material": "carbide"})
    )["change"]
    assert "about 20 %" in carbide["because"]  # (60/90)^4


# --- limits in words ---------------------------------------------------------------------


def test_a_short_grip_is_named_as_one(new_job, new_pass, ask):
    one = new_pass(28, 0.1, 0.5, form="6.2")
    change = ask(new_job("1045", [one], work={"grip_mm": 5}))["change"]
    assert change["lever"] == "support"
    assert "in the jaws" in change["because"]
    assert "slender" not in change["because"]


@pytest.mark.parametrize(
    "row",
    [
        ("part off", {}, {"blade_width_mm": 1.0, "overhang_mm": 12}, "wider blade"),
        ("along", {"holding": "chuck and centre", "stickout_mm": 220}, {}, "two settings"),
    ],
    ids=lambda row: row[0].replace(" ", "-"),
)
def test_where_nothing_is_legal_the_way_out_fits_the_limit(row, new_job, new_pass, ask):
    direction, work, edge, words = row
    depth = edge.get("blade_width_mm", 0.3)
    one = new_pass(14, 0.05, depth, form="3.1", direction=direction)
    for passes in ([one], []):
        case = new_job("1045", passes, work={**work, "direction": direction}, edge=edge)
        advice = ask(case)
        assert (advice["verdict"], advice["next_cut"]) == ("stop", None)
        assert words in " ".join(advice["do"])


# --- no going round in circles -----------------------------------------------------------


def test_an_edge_found_sharp_behind_the_same_strings_is_not_looked_at_again(
    new_job, new_pass, ask
):
    seen = new_pass(24, 0.12, 0.3, form="2.1", edge_looked_at="sharp")
    after = new_pass(24, 0.2, 0.3, 15.4, form="2.1")
    assert ask(new_job("303", [after]))["verdict"] == "look at the edge"
    assert ask(new_job("303", [seen, after]))["verdict"] == "change"
    other = {**new_job("303")["edge"], "id": "before"}
    assert (
        ask(new_job("303", [{**seen, "edge": other}, after]))["verdict"] == "look at the edge"
    )


def test_oil_is_the_last_thing_tried_for_a_curl(new_job, new_pass, ask):
    # Oil at the face shortens the contact and tightens the curl (Tanabe & Hoshino 2018,
    # abstract read); whoever cuts dry has it left when the dials have had their turn.
    dry = {"form": "1.3", "coolant": "dry"}
    groove = {**new_job("6061")["edge"], "chip_groove": True}
    passes = [
        new_pass(75, 0.08, 0.3, 16.0, **dry),
        new_pass(75, 0.2, 0.3, 15.4, **dry),
        new_pass(75, 0.2, 0.5, 14.8, **dry),
        new_pass(75, 0.2, 0.76, 13.8, **dry),
        new_pass(75, 0.2, 0.76, 12.3, **dry),
    ]
    for one in passes[:-1]:
        one["edge"] = {**groove, "id": "flat", "chip_groove": False}
    passes[-1]["edge"] = groove
    first = ask(new_job("6061", passes[:1]))["change"]
    last = ask(new_job("6061", passes, edge=groove))["change"]
    assert (first["lever"], last["lever"]) == ("feed", "coolant")


def test_a_cure_that_failed_twice_is_not_turned_round(new_job, new_pass, ask):
    shakes = {"form": "6.2", "noticed": ["chatter"]}
    passes = [
        new_pass(28, 0.1, 0.3, 16.0, **shakes),
        new_pass(23, 0.1, 0.3, 15.4, **shakes),
        new_pass(23, 0.15, 0.3, 14.8, **shakes),
        new_pass(23, 0.15, 0.2, 14.2, **shakes),
        new_pass(23, 0.15, 0.14, 13.8, **shakes),
    ]
    change = ask(new_job("1045", passes))["change"]
    back = change and change["lever"] == "depth" and change["to"] > 0.14
    assert not back
