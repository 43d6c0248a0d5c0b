"""What gives way besides the work, what that leaves on the diameter, growth by heat.

Not in here: the work as a beam (``deflection``). E is in N/mm² (the same as MPa). Source
keys are listed in ``advisor.mechanics``.
"""

from __future__ import annotations

import math
from typing import Final

from advisor.mechanics._check import at_least_zero, finite, positive, within
from advisor.mechanics.deflection import cantilever_mm, second_moment_rectangle_mm4

__all__ = [
    "diameter_error_mm",
    "error_copy_share",
    "machine_mm",
    "overhang_limit",
    "thermal_growth_mm",
    "tool_bending_mm",
]

_UM_PER_MM: Final = 1000.0


def machine_mm(
    force_n: float,
    load_mm: float,
    length_mm: float,
    *,
    head_n_um: float,
    carriage_n_um: float,
    tail_n_um: float | None = None,
) -> float:
    """Return how far the lathe itself gives way at the tool, in mm.

    Head and tail share the force by the lever; the carriage with its tool post takes all.

    Parameters
    ----------
    force_n : float, N, >= 0
        Radial force.
    load_mm : float, mm, > 0 to ``length_mm``
        Where the tool stands, from the chuck.
    length_mm : float, mm, > 0
        From chuck to centre; to the free end without a centre.
    head_n_um, carriage_n_um : float, N/µm, > 0
        Stiffness of spindle with chuck, and of carriage with tool post.
    tail_n_um : float, N/µm, > 0, optional
        Stiffness of tailstock with centre; left out when the work is held in the chuck
        only, and the head then takes all.

    Returns
    -------
    float
        Deflection in mm, to be added to that of the work.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: a chuck that tips, because only sideways give is in it. No
    stiffness of small lathes is published; pull with a spring scale and read a dial.

    References
    ----------
    [koenigsberger] from memory.

    Examples
    --------
    >>> stiff = {"head_n_um": 20.0, "carriage_n_um": 20.0, "tail_n_um": 10.0}
    >>> round(machine_mm(50.0, 50.0, 100.0, **stiff), 6)
    0.004375
    """
    at_least_zero(force_n=force_n)
    positive(load_mm=load_mm, length_mm=length_mm)
    if load_mm > length_mm:
        raise ValueError("load_mm must be at most length_mm")
    positive(head_n_um=head_n_um, carriage_n_um=carriage_n_um)
    if tail_n_um is None:
        give_um_n = 1.0 / head_n_um + 1.0 / carriage_n_um
    else:
        positive(tail_n_um=tail_n_um)
        lever = load_mm / length_mm
        give_um_n = (1.0 - lever) ** 2 / head_n_um + lever**2 / tail_n_um + 1.0 / carriage_n_um
    return force_n * give_um_n / _UM_PER_MM


def tool_bending_mm(
    force_n: float, overhang_mm: float, width_mm: float, height_mm: float, e_n_mm2: float
) -> float:
    """Return how far a square-shank tool bends down under the cutting force, in mm.

    Force in N at least zero; overhang, width and height in mm and E in N/mm² above zero,
    else ValueError. Bending only: at an overhang under twice the height the tool post
    gives more than the shank.

    >>> round(tool_bending_mm(300.0, 20.0, 10.0, 10.0, 207_000.0), 6)
    0.004638
    """
    positive(overhang_mm=overhang_mm)
    i_mm4 = second_moment_rectangle_mm4(width_mm, height_mm)
    return cantilever_mm(force_n, overhang_mm, e_n_mm2, i_mm4)


def overhang_limit(
    tolerance_mm: float, force_n: float, diameter_mm: float, e_n_mm2: float
) -> float:
    """Return the length over diameter at which work in a chuck gives way by a tolerance.

    Parameters
    ----------
    tolerance_mm : float, mm, > 0
        Deflection allowed at the free end; half of what is allowed on the diameter.
    force_n : float, N, > 0
        Radial force.
    diameter_mm : float, mm, > 0
        Of the work.
    e_n_mm2 : float, N/mm², > 0
        Young's modulus.

    Returns
    -------
    float
        L / D.

    Raises
    ------
    ValueError
        If a value is not finite and above zero.

    Notes
    -----
    Not to be trusted for: leave to stick out that far. Whip and chatter set in earlier,
    and the machine's manual and the usual support rules come first.

    References
    ----------
    [bansal] cantilever, solved for the length.

    Examples
    --------
    >>> round(overhang_limit(0.01, 50.0, 20.0, 207_000.0), 3)
    4.959
    """
    positive(tolerance_mm=tolerance_mm, force_n=force_n)
    positive(diameter_mm=diameter_mm, e_n_mm2=e_n_mm2)
    slender = 64.0 / (3.0 * math.pi)
    return float((tolerance_mm * e_n_mm2 * diameter_mm / (slender * force_n)) ** (1.0 / 3.0))


def diameter_error_mm(deflection_mm: float) -> float:
    """Return how much too large the diameter comes out, twice the give, in mm.

    Give in mm, positive when work and tool move apart; finite, else ValueError.

    >>> diameter_error_mm(0.01)
    0.02
    """
    finite(deflection_mm=deflection_mm)
    return 2.0 * deflection_mm


def error_copy_share(cut_n_mm: float, system_n_mm: float, passes: int = 1) -> float:
    """Return what is left of an uneven diameter after some passes, as a share of it.

    (C / (k + C))^n: where more metal stands, the work is pushed away further.

    Parameters
    ----------
    cut_n_mm : float, N/mm, >= 0
        C, passive force gained for each mm of depth.
    system_n_mm : float, N/mm, > 0
        k, stiffness of work, tool and machine together.
    passes : int, >= 0
        n.

    Returns
    -------
    float
        Share, 0 to 1.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: what is left once the depth is under the least depth that
    still cuts; the edge then only rubs.

    References
    ----------
    [koenigsberger] from memory; [mechanics] two springs in a row.

    Examples
    --------
    >>> round(error_copy_share(200.0, 2000.0), 5)
    0.09091
    """
    at_least_zero(cut_n_mm=cut_n_mm, passes=passes)
    positive(system_n_mm=system_n_mm)
    return float((cut_n_mm / (system_n_mm + cut_n_mm)) ** passes)


def thermal_growth_mm(size_mm: float, rise_k: float, alpha_per_k: float) -> float:
    """Return how much a diameter or length grows when warm, alpha D dT, in mm.

    Size in mm above zero, rise in K finite (negative when colder), expansion per K 0 to
    1e-4, else ValueError. Takes the whole part to be as warm as where it was felt.

    >>> round(1000.0 * thermal_growth_mm(25.0, 60.0, 17.2e-6), 1)
    25.8
    """
    positive(size_mm=size_mm)
    finite(rise_k=rise_k)
    within(0.0, 1e-4, alpha_per_k=alpha_per_k)
    return size_mm * rise_k * alpha_per_k
