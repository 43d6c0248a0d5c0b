"""Measures of the chip itself: ratio, compression, mean thickness, strain when bent.

From what calipers and scales give; the shear plane behind it is in ``orthogonal``.
Source keys are listed in ``advisor.mechanics``.
"""

from __future__ import annotations

from advisor.mechanics._check import positive, within

__all__ = [
    "chip_bending_strain",
    "chip_ratio",
    "chip_ratio_from_length",
    "compression_ratio",
    "weighed_chip_thickness_mm",
]


def chip_ratio(thickness_mm: float, chip_thickness_mm: float) -> float:
    """Return the chip ratio r = h / h', below 1 for common metals [merchant1945].

    Uncut and cut thickness in mm, both above zero, else ValueError.

    >>> round(chip_ratio(0.2, 0.62), 4)
    0.3226
    """
    positive(thickness_mm=thickness_mm, chip_thickness_mm=chip_thickness_mm)
    return thickness_mm / chip_thickness_mm


def chip_ratio_from_length(chip_length_mm: float, cut_length_mm: float) -> float:
    """Return the chip ratio r = L' / L from the length of one chip and its cut [shaw].

    Both in mm, above zero, else ValueError. Holds while the chip does not spread sideways:
    not for wide, thin finishing chips that curl to the side.

    >>> chip_ratio_from_length(30.0, 75.0)
    0.4
    """
    positive(chip_length_mm=chip_length_mm, cut_length_mm=cut_length_mm)
    return chip_length_mm / cut_length_mm


def compression_ratio(thickness_mm: float, chip_thickness_mm: float) -> float:
    """Return the chip compression h' / h, the inverse of the chip ratio.

    Uncut and cut thickness in mm, both above zero, else ValueError.

    >>> round(compression_ratio(0.2, 0.62), 2)
    3.1
    """
    return 1.0 / chip_ratio(thickness_mm, chip_thickness_mm)


def weighed_chip_thickness_mm(
    mass_mg: float, density_g_cm3: float, length_mm: float, width_mm: float
) -> float:
    """Return the mean thickness of a weighed chip, h' = m / (rho L b), in mm [shaw].

    Mass in mg, density in g/cm³ (the same as mg/mm³), length along the chip and width in
    mm, all above zero, else ValueError. Kinder than a caliper, which rides on the crests
    of the rough side; oil on the chip counts as metal.

    >>> round(weighed_chip_thickness_mm(78.5, 7.85, 40.0, 1.0), 3)
    0.25
    """
    positive(mass_mg=mass_mg, density_g_cm3=density_g_cm3)
    positive(length_mm=length_mm, width_mm=width_mm)
    return mass_mg / (density_g_cm3 * length_mm * width_mm)


def chip_bending_strain(
    chip_thickness_mm: float,
    curl_radius_mm: float,
    opened_radius_mm: float,
    share: float = 0.5,
) -> float:
    """Return the strain when an obstacle bends a curled chip open, a h' (1/R0 - 1/RL).

    Parameters
    ----------
    chip_thickness_mm : float, mm, > 0
        Thickness of the chip, not of the cut.
    curl_radius_mm : float, mm, > 0
        Radius with which the chip leaves the edge.
    opened_radius_mm : float, mm, > 0
        Radius to which tool, holder or work open it.
    share : float, above 0 to 1
        Where the neutral line runs; 0.5 is the middle.

    Returns
    -------
    float
        Strain of the outer fibre; negative when the chip is bent tighter instead.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: telling whether a chip breaks. Strains at which chips of a
    metal part are not published well enough; compare two cuts of one metal.

    References
    ----------
    [nakayama1962], [jawahir1993]; both from memory.

    Examples
    --------
    >>> chip_bending_strain(0.25, 1.5, 6.0)
    0.0625
    """
    positive(chip_thickness_mm=chip_thickness_mm, share=share)
    positive(curl_radius_mm=curl_radius_mm, opened_radius_mm=opened_radius_mm)
    within(0.0, 1.0, share=share)
    return share * chip_thickness_mm * (1.0 / curl_radius_mm - 1.0 / opened_radius_mm)
