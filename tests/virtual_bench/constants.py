"""Constants of the bench, kept apart from every other table of the project.

Where a value was read or remembered stands beside it: ``read`` is printed in the work named,
``memory`` is a textbook value from memory, ``common practice`` has no source at all. They are
centres of draws, not truths: each job blurs them into hidden values of its own (``world``).
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "BLURS",
    "CONFUSIONS",
    "EDGES",
    "FILM_ERROR",
    "LENGTH_ERROR",
    "METALS",
    "RETAKE",
    "SNARL_MISSED",
    "TINTS",
    "EdgeKind",
    "Metal",
    "Spread",
]


@dataclass(frozen=True, slots=True)
class Metal:
    """What the bench knows of a metal; units in the names, sources at the table."""

    unit_energy_j_mm3: float
    compression: float
    break_strain: float
    shear_fracture: float
    control_mm: float
    speed_60_m_min: float
    density_heat_j_mm3_k: float
    diffusivity_mm2_s: float
    body_share: float
    modulus_mpa: float
    built_up_m_min: tuple[float, float] | None
    film: tuple[float, float] | None
    hardens_mm: float
    wish: str
    last_cut_mm: float


_FE_FILM = (5.34e-4, 168.9)
_TI_FILM = (6.13e-6, 191.7)
_CR_FILM = (5.34e-5, 168.9)

# unit_energy: J/mm3 at 0.25 mm thickness; Groover's table (read: carbon steel 1.6, alloy 2.2,
#   stainless 2.8, aluminium 0.7, cast iron 1.1); titanium middle of 3.0-4.1 (read, Kalpakjian's
#   problem); leaded and resulphurised metals scaled down (memory), since the handbook rows for
#   1108-1132 stand near 1.2 (read) and leaded brass near 0.7-1.0 (memory).
# compression h'/h at 0.1 mm, 30 m/min, rake 6: memory of Merchant-type tests, 1.3 to 3.3.
# break_strain: bending strain at fracture. Memory gives about 0.05 for carbon steel and only a
#   rank for the others: grey iron, leaded brass, 12L14 and 303, 1045 and 4140, Ti-6Al-4V, 1018,
#   6061, 304 and 316. Values keep that rank.
# shear_fracture: shear strain past which the chip comes off in grains; memory, rank only.
# control_mm: chip thickness from which a long chip keeps its curl; common practice (austenitic
#   stainless from about 0.1 mm/rev, titanium from about 0.03).
# speed_60: speed for 60 minutes with HSS, middle of printed HSS rows (read) or memory (Ti, O1).
# heat and diffusivity from density, heat capacity and conductivity (Callister; data book).
# body_share: chip body rise over Cook's interface rise; chosen so that dry steel at 100 m/min
#   turns blue and titanium at 20 m/min stays straw or brighter (common practice).
# built_up: speeds where an edge builds up; memory (low-carbon steel 5-60).
# film: K0 m2/s and energy kJ/mol; iron (Mi 2022), Ti-6Al-4V (Mohamed 2022), both read;
#   stainless a tenth of iron's rate (more chromium delays the colours, read; factor ours).
# hardens: depth of the hardened skin, 0.05-0.2 for stainless (memory).
# wish: which chips are right for the metal. last_cut: stock to leave for the last cuts, side.
_ROWS: dict[str, tuple] = {
    "1018": (1.6, 3.0, 0.070, 6.0, 0.16, 34, 3.41e-3, 17.5, 1.00, 207e3, (5, 60), _FE_FILM,
             0.0, "broken", 0.10),
    "12L14": (1.2, 2.2, 0.018, 4.2, 0.14, 47, 3.41e-3, 17.5, 1.00, 207e3, None, _FE_FILM,
              0.0, "broken", 0.10),
    "1045": (1.8, 2.6, 0.044, 5.5, 0.15, 29, 3.64e-3, 14.3, 1.00, 207e3, (5, 45), _FE_FILM,
             0.0, "broken", 0.10),
    "4140": (2.2, 2.4, 0.042, 5.0, 0.14, 23, 3.71e-3, 11.5, 1.00, 207e3, (5, 35), _FE_FILM,
             0.0, "broken", 0.10),
    "O1": (2.4, 2.4, 0.040, 5.0, 0.14, 19, 3.65e-3, 10.5, 1.00, 207e3, (5, 30), _FE_FILM,
           0.0, "broken", 0.10),
    "303": (2.2, 2.2, 0.022, 4.5, 0.15, 25, 4.0e-3, 4.05, 0.65, 193e3, None, _CR_FILM,
            0.03, "broken", 0.10),
    "304": (2.8, 2.7, 0.095, 7.0, 0.19, 15, 4.0e-3, 4.05, 0.65, 193e3, (5, 30), _CR_FILM,
            0.10, "broken or controlled", 0.20),
    "316": (2.8, 2.8, 0.100, 7.0, 0.20, 14, 4.0e-3, 4.0, 0.65, 193e3, (5, 30), _CR_FILM,
            0.10, "broken or controlled", 0.20),
    "Ti grade 2": (2.6, 1.6, 0.075, 6.0, 0.05, 26, 2.35e-3, 7.0, 0.45, 103e3, None, _TI_FILM,
                   0.05, "curl", 0.20),
    "Ti-6Al-4V": (3.5, 1.35, 0.060, 5.0, 0.045, 16, 2.475e-3, 2.9, 0.45, 114e3, None, _TI_FILM,
                  0.05, "curl", 0.20),
    "6061": (0.8, 3.0, 0.080, 6.5, 0.17, 75, 2.42e-3, 69.0, 0.85, 69e3, (5, 80), None,
             0.0, "broken", 0.06),
    "C360": (0.9, 1.5, 0.012, 1.6, 0.10, 65, 3.23e-3, 35.6, 0.85, 97e3, None, None,
             0.0, "grains", 0.06),
    "bronze": (1.6, 1.9, 0.022, 2.3, 0.12, 35, 3.3e-3, 18.0, 0.85, 110e3, None, None,
               0.0, "grains", 0.06),
    "grey iron": (1.3, 1.25, 0.008, 1.1, 0.03, 24, 3.0e-3, 17.3, 0.85, 105e3, None, None,
                  0.0, "grains", 0.10),
}  # fmt: skip
METALS: dict[str, Metal] = {name: Metal(*row) for name, row in _ROWS.items()}


@dataclass(frozen=True, slots=True)
class EdgeKind:
    """What the bench knows of an edge material."""

    taylor_exponent: float
    speed_over_hss: float
    life_min: float
    radius_um: tuple[float, float]
    force_factor: float
    hazard: float


# Taylor's n and the force factor of HSS: memory of common texts; carbide 3-5 times HSS (read,
# exam notes) at the 15 minutes that handbook speeds stand for (read); radii memory: stoned HSS
# 5-10 um, bench grinder 10-20, ground carbide 3-10, coated 15-30. Hazard: chance of a sudden
# chip per pass, ours; real rates are not published for such small work.
EDGES: dict[str, EdgeKind] = {
    "HSS": EdgeKind(0.125, 1.0, 60.0, (6.0, 16.0), 1.15, 0.02),
    "carbide": EdgeKind(0.25, 3.0, 15.0, (4.0, 10.0), 1.0, 0.03),
    "coated carbide": EdgeKind(0.25, 3.5, 15.0, (15.0, 28.0), 1.0, 0.025),
}

#: Tints by the film that ends each, nm: midpoints of the computed first and second orders of
#: oxide colours on steel and titanium; the last two exist on titanium alone.
TINTS: tuple[tuple[str, float], ...] = (
    ("bright", 6.0),
    ("pale straw", 16.0),
    ("straw", 23.0),
    ("dark straw", 28.5),
    ("brown", 34.0),
    ("purple", 42.0),
    ("dark blue", 52.0),
    ("blue", 63.0),
    ("light blue", 78.0),
    ("grey", 98.0),
    ("second yellow", 123.0),
    ("second purple", float("inf")),
)


@dataclass(frozen=True, slots=True)
class Spread:
    """A hidden value is drawn log-normally about ``middle`` with ``sigma`` (of the log)."""

    middle: float
    sigma: float


#: Hidden factors and where their middles come from.
BLURS: dict[str, Spread] = {
    "compression": Spread(1.0, 0.10),
    "break_strain": Spread(1.0, 0.20),
    "shear_fracture": Spread(1.0, 0.10),
    "control": Spread(1.0, 0.20),
    "up_curl_mm": Spread(3.2, 0.30),  # natural curl of a flat face, 1-6 mm seen on small work
    "side_curl": Spread(3.5, 0.45),  # side-curl radius over chip width; memory of chip studies
    "opening": Spread(4.0, 0.25),  # radius at the obstacle over radius at the edge
    "groove_width_mm": Spread(1.2, 0.15),  # small ground or pressed grooves; common practice
    "groove_height_mm": Spread(0.25, 0.15),
    "least_chip": Spread(0.3, 0.15),  # least thickness over edge radius, 0.2-0.4; memory
    "taylor": Spread(1.0, 0.10),
    "stiffness": Spread(1.0, 0.20),
    "damping": Spread(0.10, 0.25),  # with the process damping of slow cuts; memory
    "body_share": Spread(1.0, 0.08),
    "hot_s": Spread(1.0, 0.40),  # 0.3-3 s in still air; computed from cooling of a thin strip
    "drive": Spread(1.05, 0.05),
}

#: How a reader errs: chance that a chip of a group is taken for its neighbour. Sizes of the
#: confusions follow what readers of rendered chips confuse (neighbours in winding), ours.
CONFUSIONS: dict[str, dict[str, float]] = {
    "1": {"8": 0.05, "4": 0.03},
    "2": {"5": 0.10, "3": 0.03},
    "3": {"6": 0.08, "2": 0.04},
    "4": {"5": 0.14},
    "5": {"4": 0.10, "2": 0.08},
    "6": {"3": 0.08, "7": 0.03},
    "7": {"8": 0.08},
    "8": {"7": 0.08, "1": 0.04},
}
LENGTH_ERROR = 0.05  # a long piece taken for a short one or the other way round
SNARL_MISSED = 0.05  # a tangle taken for loose long pieces
RETAKE = 0.03  # photos that are no use
FILM_ERROR = 0.15  # standard deviation of the log of the film read
