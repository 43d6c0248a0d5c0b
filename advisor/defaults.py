"""What the advisor takes for granted where a case does not say, all in one place.

Each use is listed in ``Case.assumed`` and lowers the trust of the advice. All are common
practice on small bench lathes or our own choice; none has a published source.
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "CENTRE_HEIGHT_MM",
    "CHIP_ROOM_MM",
    "CROSS_FEED_SHARE",
    "CUT_LENGTH_DIAMETERS",
    "DIAL_MM",
    "DIAL_READS",
    "EFFICIENCY",
    "END_EDGE_ANGLE_DEG",
    "KAPR_DEG",
    "OVERHANG_MM",
    "POWER_W",
    "RE_MM",
    "SHANK_MM",
    "STIFFNESS_N_UM",
    "TOLERANCE_MM",
    "WEIGHTY",
]

#: Motor of a small bench lathe, W: low, so that the advice is not too bold.
POWER_W: Final = 300.0
#: Share of the motor power that reaches the edge, geared head (Machinery's Handbook, memory).
EFFICIENCY: Final = 0.75
#: Radial stiffness at the tool, N/µm; no published figure for hobby lathes was found.
STIFFNESS_N_UM: Final = 10.0
DIAL_MM: Final = 0.02
DIAL_READS: Final = "radius"
#: Cross feed over long feed: half or less on many lathes; read the plate.
CROSS_FEED_SHARE: Final = 0.5
TOLERANCE_MM: Final = 0.05
#: Length of cut over diameter where neither it nor the stick-out is given.
CUT_LENGTH_DIAMETERS: Final = 1.5
#: Bar left between the end of the cut and the jaws, mm.
CHIP_ROOM_MM: Final = 5.0
KAPR_DEG: Final = 75.0
END_EDGE_ANGLE_DEG: Final = 15.0
RE_MM: Final = 0.4
OVERHANG_MM: Final = 10.0
SHANK_MM: Final = 10.0
CENTRE_HEIGHT_MM: Final = 0.0
#: Assumptions that move forces or limits so much that each costs trust by itself.
WEIGHTY: Final = (
    "edge.re_mm",
    "edge.condition",
    "lathe.power_w",
    "lathe.stiffness_n_um",
    "work.stickout_mm",
    "work.holding",
)
