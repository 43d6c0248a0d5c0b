"""From the inputs of a row in ``cutting.toml`` to the numbers that a text prints.

Only unit conversions and calls of the advisor; no value of a text stands here.
"""

from __future__ import annotations

import math

from advisor import force, orthogonal, section, thickness
from advisor.records import ChipPiece, Cut
from advisor.tables import material, rule_value


def spindle_speed(speed_m_min, diameter_mm):
    return {"rev_min": force.spindle_speed_rev_min(speed_m_min, diameter_mm)}


def unit_power(hp_min_in3):
    return {"w_s_mm3": hp_min_in3 * force.W_S_MM3_PER_HP_MIN_IN3}


def shear(thickness_mm, chip_thickness_mm, rake_deg):
    ratio = orthogonal.chip_ratio(thickness_mm, chip_thickness_mm)
    angle = orthogonal.shear_angle_deg(ratio, rake_deg)
    strain = orthogonal.shear_strain(angle, rake_deg)
    return {"ratio": ratio, "shear_deg": angle, "strain": strain}


def orthogonal_forces(
    *, thickness_mm, chip_thickness_mm, width_mm, rake_deg, cutting_n, thrust_n, speed_m_s=1.0
):
    out = shear(thickness_mm, chip_thickness_mm, rake_deg)
    forces = orthogonal.shear_plane_forces(
        cutting_n, thrust_n, shear_deg=out["shear_deg"], rake_deg=rake_deg
    )
    area = thickness_mm * width_mm
    friction = orthogonal.friction_angle_deg(cutting_n, thrust_n, rake_deg)
    return out | {
        "shear_n": forces.shear_n,
        "shear_normal_n": forces.shear_normal_n,
        "friction_n": forces.friction_n,
        "mu": math.tan(math.radians(friction)),
        "friction_deg": friction,
        "kc_n_mm2": cutting_n / area,
        "shear_stress_n_mm2": forces.shear_n * math.sin(math.radians(out["shear_deg"])) / area,
        "power_w": force.cutting_power_w(cutting_n, 60 * speed_m_s),
    }


orthogonal_set = shear_stress = orthogonal_forces


def _forces_from_friction(angle, area_mm2, mu, shear_stress_n_mm2, rake_deg):
    friction = math.degrees(math.atan(mu))
    shear_deg = angle(rake_deg, friction)
    forces = orthogonal.orthogonal_forces(
        shear_stress_n_mm2,
        area_mm2,
        shear_deg=shear_deg,
        friction_deg=friction,
        rake_deg=rake_deg,
    )
    return {
        "shear_deg": shear_deg,
        "cutting_n": forces.cutting_n,
        "thrust_n": forces.thrust_n,
    }


def merchant(thickness_mm, width_mm, mu, shear_stress_n_mm2, rake_deg):
    return _forces_from_friction(
        orthogonal.merchant_angle_deg,
        thickness_mm * width_mm,
        mu,
        shear_stress_n_mm2,
        rake_deg,
    )


def lee_shaffer(*, depth_mm, feed_mm_rev, kapr_deg, rake_deg, mu, shear_stress_n_mm2):
    chip = section.chip_section(depth_mm, feed_mm_rev, kapr_deg=kapr_deg)
    return _forces_from_friction(
        orthogonal.lee_shaffer_angle_deg,
        chip.thickness_mm * chip.width_mm,
        mu,
        shear_stress_n_mm2,
        rake_deg,
    )


def energy_law_force(energy_j_mm3, exponent, thickness_mm, width_mm):
    # U = U0 h^-0.4 has Kienzle's shape; 1 J/mm3 is 1000 N/mm2.
    newtons = force.cutting_force_n(
        thickness_mm, width_mm, kc11_n_mm2=1000 * energy_j_mm3, mc=exponent
    )
    return {"cutting_n": newtons}


def roughness_arc(feed_mm_rev, re_mm):
    return {"um": section.roughness_arc_um(feed_mm_rev, re_mm)}


def roughness_exact(feed_mm_rev, re_mm):
    return {
        "exact_um": section.roughness_exact_um(feed_mm_rev, re_mm),
        "parabola_um": section.roughness_arc_um(feed_mm_rev, re_mm),
    }


def roughness_pointed(feed_mm_rev, lead_deg, end_edge_angle_deg):
    height = section.roughness_pointed_um(
        feed_mm_rev, lead_deg=lead_deg, end_edge_angle_deg=end_edge_angle_deg
    )
    return {"um": height}


def roughness_mean(feed_mm_rev, re_mm, ratio):
    ideal = section.roughness_mean_um(feed_mm_rev, re_mm)
    return {"ideal_um": ideal, "real_um": ratio * ideal}


def roughness_low_feed(feed_mm_rev, re_mm, thinnest_mm):
    return {
        "um": section.roughness_low_feed_um(feed_mm_rev, re_mm, thinnest_mm),
        "parabola_um": section.roughness_arc_um(feed_mm_rev, re_mm),
    }


def thrust_split(thrust_n, angle_deg):
    feed, radial = force.split_thrust_n(thrust_n, angle_deg)
    return {"feed_n": feed, "radial_n": radial}


def turning_inch(*, from_in, to_in, length_in, rev_min, in_min, w_s_mm3):
    diameter, depth = 25.4 * from_in, 25.4 * (from_in - to_in) / 2
    feed = 25.4 * in_min / rev_min
    removal = force.removal_mm3_min(diameter, depth, feed, rev_min)
    watts = w_s_mm3 * removal / 60
    torque = force.torque_at_power_n_m(watts, rev_min)
    mean = diameter - depth
    return {
        "in_min_rim": force.cutting_speed_m_min(rev_min, diameter) * 1000 / 25.4,
        "removal_in3_min": removal / 25.4**3,
        "minutes": force.turning_time_s(25.4 * length_in, rev_min, feed) / 60,
        "hp": watts / 745.69987158227022,
        "force_lb": 2000 * torque / mean / 4.4482216152605,
    }


def friction_share(thickness_mm, chip_thickness_mm, rake_deg, cutting_n, thrust_n):
    out = orthogonal_forces(
        thickness_mm=thickness_mm,
        chip_thickness_mm=chip_thickness_mm,
        width_mm=1.0,
        rake_deg=rake_deg,
        cutting_n=cutting_n,
        thrust_n=thrust_n,
    )
    share = orthogonal.friction_energy_share(out["friction_n"], cutting_n, out["ratio"])
    return {"share": share}


def taylor(life_min, speed_m_min, new_speed_m_min, exponent):
    life = orthogonal.taylor_life_min(life_min, speed_m_min, new_speed_m_min, exponent)
    return {"life_min": life}


def power_law_force(
    *, constant, feed_mm_rev, depth_mm, feed_exponent, depth_exponent, speed_m_s, efficiency
):
    newtons = force.power_law_force_n(
        constant,
        feed_mm_rev=feed_mm_rev,
        depth_mm=depth_mm,
        feed_exponent=feed_exponent,
        depth_exponent=depth_exponent,
    )
    watts = force.cutting_power_w(newtons, 60 * speed_m_s)
    return {
        "force_n": newtons,
        "power_w": watts,
        "motor_w": watts / efficiency,
        "kc_n_mm2": newtons / (feed_mm_rev * depth_mm),
    }


def energy(*, diameter_mm, rev_min, depth_mm, feed_mm_rev, cutting_n, volume_mm3):
    speed = force.cutting_speed_m_min(rev_min, diameter_mm)
    watts = force.cutting_power_w(cutting_n, speed)
    unit = force.unit_power_w_s_mm3(watts, depth_mm * feed_mm_rev * speed * 1000 / 60)
    return {"power_kw": watts / 1000, "w_s_mm3": unit, "kwh": unit * volume_mm3 / 3.6e6}


def titanium_bar(*, from_mm, to_mm, rev_min, mm_min, low, high):
    depth, speed = (from_mm - to_mm) / 2, force.cutting_speed_m_min(rev_min, from_mm)
    removal = force.removal_mm3_min(from_mm, depth, mm_min / rev_min, rev_min) / 60
    out = {"speed_m_min": speed}
    for name, unit in (("low", low), ("high", high)):
        watts = unit * removal
        out[f"power_{name}_kw"] = watts / 1000
        # The answer copies divide by the speed on the largest diameter.
        out[f"force_{name}_kn"] = 60 * watts / speed / 1000
    return out


def shear_and_removal(thickness_mm, chip_thickness_mm, rake_deg, depth_mm, speed_m_s):
    out = shear(thickness_mm, chip_thickness_mm, rake_deg)
    return out | {"removal_mm3_s": 1000 * speed_m_s * thickness_mm * depth_mm}


def cook(**inputs):
    energy_j_mm3, capacity = (
        inputs.pop("energy_j_mm3"),
        inputs.pop("heat_capacity_j_mm3_k"),
    )
    return {"rise_k": orthogonal.cook_rise_k(energy_j_mm3, capacity, **inputs)}


def cook_problem(cutting_n, thickness_mm, width_mm, ambient_c, **inputs):
    joules = cutting_n / (thickness_mm * width_mm) / 1000
    rise = cook(energy_j_mm3=joules, thickness_mm=thickness_mm, **inputs)["rise_k"]
    return {"energy_j_mm3": joules, "celsius": ambient_c + rise}


def turning_time(diameter_mm, length_mm, speed_m_s, feed_mm_rev, depth_mm):
    rev_min = force.spindle_speed_rev_min(60 * speed_m_s, diameter_mm)
    seconds = force.turning_time_s(length_mm, rev_min, feed_mm_rev)
    return {"seconds": seconds, "removal_mm3_s": 1000 * speed_m_s * feed_mm_rev * depth_mm}


def kienzle(*, kc11, mc, feed_mm_rev, depth_mm, kapr_deg, speed_m_min=0.0, diameter_mm=0.0):
    chip = section.chip_section(depth_mm, feed_mm_rev, kapr_deg=kapr_deg)
    newtons = force.cutting_force_n(chip.thickness_mm, chip.width_mm, kc11_n_mm2=kc11, mc=mc)
    return {
        "h": chip.thickness_mm,
        "b": chip.width_mm,
        "kc": force.specific_force_n_mm2(kc11, mc, chip.thickness_mm),
        "force_n": newtons,
        "power_w": force.cutting_power_w(newtons, speed_m_min),
        "torque_n_m": force.spindle_torque_n_m(newtons, diameter_mm),
    }


def motor(area_mm2, kc_n_mm2, speed_m_min, efficiency):
    watts = force.cutting_power_w(area_mm2 * kc_n_mm2, speed_m_min)
    return {"power_kw": watts / 1000, "motor_kw": watts / 1000 / efficiency}


def motor_enough(area_mm2, kc_n_mm2, speed_m_min, motor_kw, efficiency):
    needed = motor(area_mm2, kc_n_mm2, speed_m_min, efficiency)["power_kw"]
    available = motor_kw * efficiency
    return {
        "needed_kw": needed,
        "available_kw": available,
        "enough": float(needed <= available),
    }


def gearbox(*, h, b, kc_n_mm2, diameter_mm, rev_min, efficiency):
    newtons = force.cutting_force_n(h, b, kc11_n_mm2=kc_n_mm2, mc=0.0)
    speed = force.cutting_speed_m_min(rev_min, diameter_mm)
    watts = force.cutting_power_w(newtons, speed)
    return {
        "force_n": newtons,
        "speed_m_min": speed,
        "power_kw": watts / 1000,
        "motor_kw": watts / 1000 / efficiency,
    }


def section_of(depth_mm, feed_mm_rev, kapr_deg, re_mm):
    chip = section.chip_section(depth_mm, feed_mm_rev, kapr_deg=kapr_deg, re_mm=re_mm)
    names = ("edge_length_mm", "woxen_mm", "angle_deg", "thickness_mm", "thickest_mm")
    return {name: getattr(chip, name) for name in names} | {
        "limit_mm": section.nose_limit_depth_mm(re_mm, kapr_deg)
    }


def stagnation(first_deg, second_deg):
    return {
        "first": section.stagnation_share(first_deg),
        "second": section.stagnation_share(second_deg),
    }


def least_depth(feed_mm_rev, re_mm, edge_radius_um, share):
    thinnest = section.minimum_thickness_mm(edge_radius_um, share)
    return {
        "mean_mm": section.least_depth_for_thickness_mm(feed_mm_rev, re_mm, thinnest),
        "strict_mm": section.least_depth_strict_mm(feed_mm_rev, re_mm, thinnest),
    }


def bending(chip_thickness_mm, curl_mm, opened_mm, share):
    strain = orthogonal.chip_bending_strain(chip_thickness_mm, curl_mm, opened_mm, share)
    return {"strain": strain}


def unit_power_table(thickness_mm, metals):
    rows = [material(name) for name in metals]
    return {
        "kc": [
            force.specific_force_n_mm2(m.kc11_n_mm2.value, m.mc.value, thickness_mm) / 1000
            for m in rows
        ]
    }


def weighed(*, mass_g, density_g_cm3, length_mm, width_mm, thickness_mm, rake_deg):
    chip_mm, _ = thickness.by_weight(
        mass_g, density_g_cm3=density_g_cm3, length_mm=(length_mm, 0), width_mm=(width_mm, 0)
    )
    return {"chip_thickness_mm": chip_mm, **shear(thickness_mm, chip_mm, rake_deg)}


def chip_of_one_turn(outside_mm, inside_mm, length_mm, thickness_mm, rake_deg):
    """No side-spread: the text takes length for thickness, so ours is put back in."""
    depth_mm = (outside_mm - inside_mm) / 2
    cut = Cut(
        direction="along", spindle_rev_min=100, feed_mm_rev=thickness_mm, depth_mm=depth_mm,
        diameter_mm=outside_mm, length_mm=10, coolant="dry", power_feed=True,
    )  # fmt: skip
    cut_mm = thickness.cut_for_piece_mm(ChipPiece(turns=1), cut)
    compressed, _ = thickness.by_length(cut_mm, (length_mm, 0))
    low, high = (rule_value("gauge", f"spread_{end}") for end in ("low", "high"))
    compressed *= (low + high) / 2
    return {
        "chip_thickness_mm": compressed * thickness_mm,
        **shear(thickness_mm, compressed * thickness_mm, rake_deg),
    }
