"""Raw sizes of single chips: helix and spiral from calculus; bounds and uncertainty."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from vision.chips.coil import Coil
from vision.chips.features import CROP_PX_PER_MM, shape_of
from vision.chips.glance import Glance
from vision.chips.lie import Lie
from vision.chips.measure import geometry_of, raw_sizes

GROUPS = ("1", "2", "3", "4", "5", "6", "7", "8")
PX_PER_MM = 14.0


def shape(mask, light=None):
    if light is None:
        light = np.where(mask, 0.4, 1.0).astype(np.float32)
    return shape_of(mask, light)


def geometry(s, group, *, nest=False, **more):
    """Geometry from the raw sizes as they are, each known to a hundredth."""
    raw = raw_sizes(s, group, nest=nest)
    sizes = {k: (v if k == "turns" else v / PX_PER_MM, 0.01) for k, v in raw.items()}
    facts = {"cut_off": False, "px_per_mm": PX_PER_MM, "u_scale_rel": 0.0, "sizes": sizes}
    return geometry_of(s, group, nest=nest, **{**facts, **more})[0]


def helix_length(radius, pitch, turns):
    """Length of (r cos a, r sin a, p a / 2 pi) by adding up its points."""
    a = np.linspace(0, 2 * np.pi * turns, 40001)
    points = np.stack([radius * np.cos(a), radius * np.sin(a), pitch * a / (2 * pi)])
    return float(np.linalg.norm(np.diff(points, axis=1), axis=0).sum())


@pytest.fixture(scope="module")
def bar_shape():
    mask = np.zeros((60, 260), bool)
    mask[20:34, 20:230] = True
    return shape(mask)


def coiled(s, **facts):
    """The shape as if these numbers had been measured on its coil."""
    known = {
        "axis_px": 300.0,
        "diameter_px": 60.0,
        "pitch_px": 25.0,
        "score": 0.8,
        "agree": 0.97,
        "fill": 0.7,
    }
    rest = dict.fromkeys(Coil.__dataclass_fields__, 0.0)
    return replace(s, coil=Coil(**{**rest, **known, **facts}))


@pytest.mark.parametrize("group", ["2", "4", "5"])
@given(
    facts=st.fixed_dictionaries(
        {
            "axis_px": st.floats(80, 2000),
            "diameter_px": st.floats(20, 140),
            "pitch_px": st.floats(8, 79),
            "fill": st.floats(0.3, 1),
        }
    )
)
def test_a_coil_is_as_long_as_its_helix(bar_shape, group, facts):
    s = coiled(bar_shape, **facts)
    raw = raw_sizes(s, group)
    # L = N sqrt((2 pi rho)^2 + p^2): arc length of a helix, any calculus text. The sum
    # over 40000 chords is short by less than 1e-6 for up to 250 turns of 160 chords:
    # pi^2 / 6 / 160^2 = 6e-5.
    assert raw["length"] == pytest.approx(
        helix_length(raw["curl_radius"], raw["pitch"], raw["turns"]), rel=2e-4
    )
    assert raw["turns"] * raw["pitch"] == pytest.approx(raw["coil_length"])
    assert (
        raw["curl_radius"] <= facts["diameter_px"] / 2
    )  # the centre line runs inside the outline


def test_the_more_the_strip_stands_up_the_deeper_its_middle(bar_shape):
    radius = {g: raw_sizes(coiled(bar_shape), g)["curl_radius"] for g in ("2", "5", "4")}
    # Width along the axis, tilted, radial: half a width inside the rim for washers.
    assert radius["2"] > radius["5"] > radius["4"]
    strip = 2 * np.percentile(bar_shape.half[bar_shape.half > 0], 90)
    # 85 degrees from the axis and a tenth as thick as wide: 1.005 times half a strip.
    assert radius["4"] == pytest.approx(30 - strip / 2, abs=0.005 * float(strip))


@given(
    radius=st.floats(12, 60),
    width=st.floats(2, 16),
    lie=st.floats(0, 90),
    group=st.sampled_from(["2", "4", "5"]),
)
def test_the_outline_of_a_strip_that_lies_so_gives_its_radius(
    bar_shape, radius, width, lie, group
):
    # Corners of the strip's section, a tenth as thick as wide, turned by the lie and laid
    # with its middle at the radius: the farthest from the axis makes the outline.
    turn = np.radians(lie)
    along, across = (
        np.array([np.cos(turn), np.sin(turn)]),
        np.array([-np.sin(turn), np.cos(turn)]),
    )
    corners = [
        (0, radius) + a * width / 2 * along + b * width / 20 * across
        for a in (-1, 1)
        for b in (-1, 1)
    ]
    outline = max(float(c[1]) for c in corners)
    glance = Glance(
        log_size={"width": np.log(width / CROP_PX_PER_MM)}, log_spread={}, curls=1, winds=1
    )
    seen = replace(
        coiled(bar_shape, diameter_px=2 * outline),
        glance=glance,
        lie=Lie(deg=lie, spread_deg=1.0),
    )
    assert raw_sizes(seen, group)["curl_radius"] == pytest.approx(radius, rel=1e-9)


@pytest.mark.parametrize("facts", [{"pitch_px": 0.0}, {"score": 0.2}])
def test_no_length_of_a_coil_without_a_pitch(bar_shape, facts):
    raw = raw_sizes(coiled(bar_shape, **facts), "2")
    assert not {"length", "pitch", "turns"} & set(raw)
    assert raw["coil_length"] == 300.0


@pytest.mark.parametrize(
    ("radius", "pitch", "turns", "width"), [(28, 25, 8, 14), (35, 30, 6, 18), (30, 22, 8, 15)]
)
def test_length_of_a_drawn_coil(draw, radius, pitch, turns, width):
    raw = raw_sizes(shape(*draw.coil(radius, pitch, turns, width, angle=0.3)), "2")
    # Raw, before the fitted factors. The inset of a tenth of the strip, at most of 0.6
    # diameters, is up to 12 % of the radius; the leaning first and last turn count for
    # one more of six to eight turns, the other way. Target after the factors: 10 %.
    assert raw["curl_radius"] == pytest.approx(radius, rel=0.13)
    assert raw["length"] == pytest.approx(helix_length(radius, pitch, turns), rel=0.13)
    assert raw["pitch"] == pytest.approx(pitch, rel=0.03)


def test_length_of_a_drawn_spiral(draw):
    turns, inner, outer = 3.0, 20.0, 80.0
    a = np.linspace(0, 2 * pi * turns, 900)
    r = inner + (outer - inner) * a / a[-1]
    line = np.stack([r * np.cos(a), r * np.sin(a)], axis=1)
    s = shape(draw.placed(line, 6))
    # Arc length of r = inner + b a by quadrature of sqrt(r^2 + b^2).
    b = (outer - inner) / (2 * pi * turns)
    true = quad(lambda x: hypot(inner + b * x, b), 0, 2 * pi * turns)[0]
    raw = raw_sizes(s, "3")
    # Turns are counted in whole rings along rays, half a turn of three either way, and
    # the outline adds half a width to the outer radius: 17 % and 4 %.
    assert raw["length"] == pytest.approx(true, rel=0.21)
    assert raw["turns"] == pytest.approx(turns, abs=0.5)
    # Across, the outer end lies opposite a turn that is half a turn further in; of rays from
    # the middle half meet the inner turn within its first half. Half a width more, and less.
    half_turn = (outer - inner) / turns / 2
    seen_outer, seen_inner = outer - half_turn / 2 + 3, inner + half_turn - 3
    # To a pixel: that is what ends and rays are told to.
    assert raw["curl_radius"] == pytest.approx((seen_outer + seen_inner) / 2, abs=1)


def test_arc_radius_only_from_sixty_degrees_on(draw):
    short, long = (shape(draw.placed(draw.arc(120, d), 8)) for d in (40, 170))
    assert "curl_radius" not in raw_sizes(short, "6")
    raw = raw_sizes(long, "6")
    assert raw["curl_radius"] == pytest.approx(120, rel=0.03)
    assert raw["turns"] == pytest.approx(170 / 360, abs=0.03)
    # The radius is a size of arcs; a bent ribbon or needle is given none.
    assert "curl_radius" not in raw_sizes(long, "1")
    assert "curl_radius" not in raw_sizes(long, "8")


@pytest.mark.parametrize("ratio", [5])
def test_length_of_a_short_ribbon_in_any_direction(draw, ratio):
    off = []
    for degrees in (0, 10, 17, 30, 60):
        mask = draw.placed(draw.straight(20 * ratio), 20, angle=np.radians(degrees))
        off.append(abs(raw_sizes(shape(mask), "1")["length"] / (20 * ratio) - 1))
    # A path that ends in two corners instead of the middle of the ends: 41 % of a width.
    assert max(off) < 0.41 / ratio + 0.02


def test_a_ribbon_that_crosses_itself_counts_all_of_its_line(draw):
    a = np.linspace(0, 2 * pi, 600)
    eight = np.stack([130 + 100 * np.sin(a), 130 + 45 * np.sin(2 * a)], axis=1)
    s = shape(draw.strip(eight, 6, (260, 260)))
    true = quad(lambda x: hypot(100 * np.cos(x), 90 * np.cos(2 * x)), 0, 2 * pi, limit=200)[0]
    # Chain code over all directions: 0.948 is right within 2 to 6 %.
    assert raw_sizes(s, "1")["length"] == pytest.approx(true, rel=0.06)
    # What is no ribbon keeps the longest way through, here about half of it.
    assert raw_sizes(s, "8")["length"] < 0.6 * true


def nest_of(draw, rng, width):
    """A snarl of one closed line, and its length by adding up."""
    t = np.linspace(0, 2 * pi, 3000)
    line = np.zeros((len(t), 2))
    for axis in (0, 1):
        for k in range(1, 8):
            line[:, axis] += rng.normal() * np.cos(k * t + rng.uniform(0, 2 * pi)) / k**0.5
    line = 110 * line / np.abs(line).max()
    length = np.hypot(*np.diff(line, axis=0).T).sum()
    return draw.strip(line + 130, width, (260, 260)), length


def test_a_nest_is_at_least_so_long(draw, rng):
    for _ in range(8):
        mask, true = nest_of(draw, rng, 7)
        s = shape(mask)
        raw = raw_sizes(s, "1", nest=True)
        # Metal in view over width can only miss what is hidden; 15 % is the width read
        # off a distance map where it is 7 px and known to one pixel.
        assert raw["length"] <= true * 1.15
        g = geometry(s, "1", nest=True)
        assert g.length_mm.bound == "at_least"
        assert g.width_mm.bound is None


def test_cut_off_chips_are_at_least_so_large(bar_shape):
    g = geometry(bar_shape, "1", cut_off=True)
    assert (g.length_mm.bound, g.extent_mm.bound) == ("at_least", "at_least")
    assert g.width_mm.bound is None
    whole = geometry(bar_shape, "1")
    assert whole.length_mm.bound is None
    coil = geometry(coiled(bar_shape), "2", cut_off=True)
    assert (coil.coil_length_mm.bound, coil.turns.bound) == ("at_least", "at_least")
    assert coil.pitch_mm.bound is None


def test_what_is_not_known_is_not_given(bar_shape):
    g = geometry(bar_shape, "1", sizes={"width": (1.0, 0.1)})
    assert g.width_mm is not None
    assert (g.length_mm, g.extent_mm, g.pitch_mm, g.turns) == (None, None, None, None)


def test_the_raw_width_of_a_bar(bar_shape):
    # 14 px broad by drawing; the distance map adds up to two pixels of edge.
    assert raw_sizes(bar_shape, "1")["width"] == pytest.approx(14, abs=2)


def test_uncertainties_add_in_squares(bar_shape):
    # GUM (JCGM 100:2008) 5.1.2: independent parts add in squares. 10 mm with 5 % of its own
    # (0.5 mm) and 12 % of scale (1.2 mm): sqrt(0.25 + 1.44) = 1.3.
    g = geometry(bar_shape, "1", u_scale_rel=0.12, sizes={"length": (10.0, 0.05)})
    assert g.length_mm.value == pytest.approx(10)
    assert g.length_mm.u == pytest.approx(1.3)


def test_turns_do_not_depend_on_the_scale(bar_shape):
    s = coiled(bar_shape)
    exact, rough = (geometry(s, "2", u_scale_rel=u).turns for u in (0.0, 0.2))
    assert rough.value == exact.value
    assert rough.u == exact.u


def test_pitch_is_flagged_where_two_counts_differ(bar_shape):
    def flags(sizes, **facts):
        return geometry_of(
            coiled(bar_shape, **facts),
            "2",
            nest=False,
            cut_off=False,
            px_per_mm=PX_PER_MM,
            u_scale_rel=0.0,
            sizes=sizes,
        )[1]

    pitch = {"pitch": (1.8, 0.05)}
    assert flags(pitch, agree=0.5) == ("pitch-unsure",)
    assert flags(pitch, agree=0.99) == ()
    assert flags({}, agree=0.5) == ()  # no pitch, nothing to doubt


def test_spirals_and_cones_give_a_range_of_radii(bar_shape):
    # A glance takes the large end for two and a half times the small one; 2 mm on the mean.
    guessed = {"taper": np.log(2.5), "width": 0.0}
    glance = Glance(log_size=guessed, log_spread={}, curls=1.0, winds=1.0)
    sizes = {"curl_radius": (2.0, 0.05)}
    seen = replace(bar_shape, glance=glance)
    low, high = geometry(seen, "5", sizes=sizes).curl_radius_range_mm
    assert high / low == pytest.approx(2.5)
    assert (low + high) / 2 == pytest.approx(2.0)
    assert geometry(seen, "2", sizes=sizes).curl_radius_range_mm is None
    assert geometry(seen, "5", nest=True, sizes=sizes).curl_radius_range_mm is None
    assert geometry(bar_shape, "5", sizes=sizes).curl_radius_range_mm is None


@pytest.mark.parametrize("group", GROUPS)
def test_every_group_gives_sizes_of_any_mask(draw, group):
    for mask in (np.pad(np.ones((4, 4), bool), 5), draw.placed(draw.wave(20, 120, 2), 8)):
        raw = raw_sizes(shape(mask), group)
        assert raw["extent"] > 0
        assert all(v > 0 for v in raw.values())
