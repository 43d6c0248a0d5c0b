"""Heat over the passes of a job, and whether its settings explain it.

Plain numbers in: film thickness and tinted share of each pass with its settings. What a
setting does to the film is reckoned and taken off before a rise counts, so that a thicker
chip, which cools slower, is no alarm; what stays points at the edge, or at coolant that
does not reach it. Sources: ``cook1973`` for the heat, the oxide's parabolic growth, a
cooling time that goes with the chip's thickness.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, sqrt
from typing import TYPE_CHECKING, Final, Literal

from advisor.change_point import Watch, decision_limit, next_watch
from advisor.state import cut_state, setup_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from advisor.records import Case

__all__ = [
    "ALARM_LIMIT",
    "HeatPass",
    "HeatPoint",
    "HeatTrend",
    "film_ratio",
    "heat_passes",
    "heat_trend",
]

#: False alarms are this many passes apart on average, for each of the two signs.
_RUN_LENGTH: Final = 400.0
ALARM_LIMIT: Final = decision_limit(_RUN_LENGTH)
#: Scatter of the film from pass to pass and of the tinted share, at least. Ours.
_SIGMA_NM: Final = 4.0
#: Part of a reading's own doubt that differs from pass to pass; metal, camera and lamp stay.
_CHANGES: Final = 0.5
_SIGMA_SHARE: Final = 0.2
#: The share swings most where half of a chip is tinted: added variance over p(1-p).
_SWING: Final = 0.3
#: The film that an eye begins to see, nm: less of it is "bright", but grows alike.
_UNSEEN_NM: Final = 6.0
#: A reckoned effect of settings is good to half of itself, as a logarithm. Ours.
_DOUBT: Final = 0.5
#: What a change of settings may do to the tinted share.
_U_SHARE: Final = 0.5
#: Settings nearer than this, as a logarithm of the film, count as the same.
_ALIKE: Final = 0.1
#: Gas constant, J/(mol K); °C and kJ/mol of chips hot enough to tint, and °C of the air
#: (``heat`` of materials: middle of the published laws).
_R: Final = 8.314
_HOT: Final = {
    "steel": (500.0, 130.0),
    "free steel": (500.0, 130.0),
    "stainless": (600.0, 150.0),
    "titanium": (750.0, 192.0),
}
_AIR_C: Final = 20.0
_KELVIN: Final = 273.15
#: Exponents of Cook's rise: of speed, and of thickness beside that of the specific force.
_COOK: Final = 0.333
_FORCE: Final = 0.25

Settings = Literal["same", "hotter", "cooler", "new row"]
State = Literal["too few", "steady", "explained", "watch", "hotter", "looked"]
_FEW: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatPass:
    """One pass: what its chips showed and how it was cut. ``None``: not read."""

    number: int
    film_nm: float | None
    u_film_nm: float = 0.0
    share_tinted: float | None = None
    u_share_tinted: float = 0.0
    speed_m_min: float
    thickness_mm: float
    coolant: str
    direction: str = "along"
    edge_id: str = "the edge"
    edge_looked_at: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatPoint:
    """One pass in the trend.

    ``expected_nm`` is the film that the passes before and the settings led to expect and
    ``u_expected_nm`` the standard deviation of a reading about it; both ``None`` where a
    new row of passes begins (other edge, coolant or direction, an edge looked at, or after
    an alarm). ``total`` is the larger of both sums over the alarm's limit.
    """

    number: int
    film_nm: float
    u_film_nm: float
    share_tinted: float | None
    u_share_tinted: float
    expected_nm: float | None
    u_expected_nm: float | None
    settings: Settings
    total: float
    alarm: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatTrend:
    """Heat over the passes of a job; ``state`` is that of the last one."""

    state: State
    points: tuple[HeatPoint, ...]


def film_ratio(family: str, *, speed_ratio: float, thickness_ratio: float) -> float:
    """Return by what factor a change of settings makes the oxide film thicker.

    Parameters
    ----------
    family : {"steel", "free steel", "stainless", "titanium"}
    speed_ratio, thickness_ratio : float, > 0
        New over old cutting speed, and new over old uncut chip thickness.

    Notes
    -----
    The chip's rise goes with (v h)^(1/3) times the specific force h^(-1/4) [cook1973]; the
    film with exp(-E / 2RT) and the root of the time near the peak, which goes with the
    chip's thickness. Good to half of its logarithm at best; for ranking, not for degrees.

    Raises
    ------
    KeyError
        For a metal whose tint says nothing.

    Examples
    --------
    >>> round(film_ratio("steel", speed_ratio=1.2, thickness_ratio=1.0), 2)
    1.46
    """
    peak_c, energy_kj = _HOT[family]
    kelvin = peak_c + _KELVIN
    log_rise = _COOK * log(speed_ratio) + (_COOK - _FORCE) * log(thickness_ratio)
    warmer = log_rise * (peak_c - _AIR_C) / kelvin
    return exp(0.5 * (1000.0 * energy_kj / (_R * kelvin) * warmer + log(thickness_ratio)))


def heat_passes(case: Case) -> list[HeatPass]:
    """Return the passes of a case as plain numbers; those without a film carry ``None``."""
    out = []
    for number, record in enumerate(case.passes, 1):
        made, chips = cut_state(setup_of(case, record), record.cut), record.evidence
        read = chips.usable != "retake"
        out.append(
            HeatPass(
                number=number,
                film_nm=chips.film_nm if read else None,
                u_film_nm=chips.u_film_nm,
                share_tinted=chips.share_tinted if read else None,
                u_share_tinted=chips.u_share_tinted,
                speed_m_min=made.speed_m_min,
                thickness_mm=made.section.thickness_mm,
                coolant=record.cut.coolant,
                direction=record.cut.direction,
                edge_id=record.edge.id,
                edge_looked_at=record.edge_looked_at != "not yet",
            )
        )
    return out


@dataclass(frozen=True, slots=True)
class _Row:
    """Passes that can be compared: the last of them and the watch over either sign."""

    last: HeatPass
    film: Watch
    share: Watch


def _sigma_share(level: float | None) -> float:
    p = min(max(level or 0.0, 0.0), 1.0)
    return sqrt(_SIGMA_SHARE**2 + _SWING * p * (1.0 - p))


def _comparable(one: HeatPass, other: HeatPass) -> bool:
    one_way, other_way = ((p.coolant, p.direction, p.edge_id) for p in (one, other))
    return one_way == other_way


def _reckoned(row: _Row, now: HeatPass, family: str) -> tuple[_Row, float]:
    """Return the row with the settings of a new pass reckoned in, and what they do."""
    ratio = film_ratio(
        family,
        speed_ratio=now.speed_m_min / row.last.speed_m_min,
        thickness_ratio=now.thickness_mm / row.last.thickness_mm,
    )
    grows = log(ratio)
    film = max(row.film.level or 0.0, _UNSEEN_NM)
    moved = row.film.moved(film * (ratio - 1.0), film * ratio * _DOUBT * abs(grows))
    swing = 0.0 if abs(grows) < _ALIKE else _U_SHARE
    return _Row(now, moved, row.share.moved(0.0, swing)), grows


def _begin(now: HeatPass, sigma: float) -> _Row:
    film = next_watch(Watch(), now.film_nm or 0.0, sigma)
    share = Watch()
    if now.share_tinted is not None:
        share = next_watch(share, now.share_tinted, _sigma_share(now.share_tinted))
    return _Row(now, film, share)


def _go_on(row: _Row, now: HeatPass, sigma: float) -> _Row:
    film = next_watch(row.film, now.film_nm or 0.0, sigma)
    share = row.share
    if now.share_tinted is not None:
        spread = max(_sigma_share(share.level), now.u_share_tinted)
        share = next_watch(share, now.share_tinted, spread)
    return _Row(now, film, share)


def heat_trend(passes: Sequence[HeatPass], family: str) -> HeatTrend:
    """Return how the heat of a job's chips went, and whether its settings explain it.

    Parameters
    ----------
    passes : sequence of HeatPass, oldest first
        Passes without a film are left out.
    family : str
        How the metal's oxide colours; "none" gives no trend.

    Returns
    -------
    HeatTrend
        ``state``: "hotter" where the last pass raised the alarm ("looked" if the edge was
        looked at since), "watch" where the sum is
        more than half way, "explained" where its settings are reckoned to heat the chip
        and it is no hotter than that, "too few" before a second comparable pass.

    Notes
    -----
    Alarms are ``ALARM_LIMIT`` by Siegmund's formula, some 400 passes apart for each sign
    while nothing changes. Not to be trusted for: chips under oil, which stay bright
    however hot the cut; wear so slow that each pass looks like the one before.
    """
    points: list[HeatPoint] = []
    row: _Row | None = None
    count = 0
    for now in passes:
        if now.film_nm is None or family not in _HOT:
            if now.edge_looked_at:
                row = None  # a look without a film still ends what came before
            continue
        sigma = max(_SIGMA_NM, _CHANGES * now.u_film_nm)
        if row is None or not _comparable(row.last, now):
            row, count = _begin(now, sigma), 1
            points.append(_point(now, None, None, "new row"))
            continue
        ready, grows = _reckoned(row, now, family)
        settings = _settings(grows)
        row, count = _go_on(ready, now, sigma), count + 1
        u_expected = sqrt(ready.film.variance + sigma**2)
        total = max(row.film.total, row.share.total) / ALARM_LIMIT
        points.append(_point(now, ready.film.level, u_expected, settings, total))
        if points[-1].alarm or now.edge_looked_at:
            row = _begin(now, sigma)  # what later passes are compared with
    looked = bool(passes) and passes[-1].edge_looked_at
    return HeatTrend(state=_state(points, count, looked=looked), points=tuple(points))


def _settings(grows: float) -> Settings:
    if abs(grows) < _ALIKE:
        return "same"
    return "hotter" if grows > 0 else "cooler"


def _point(
    now: HeatPass,
    expected: float | None,
    u_expected: float | None,
    settings: Settings,
    total: float = 0.0,
) -> HeatPoint:
    return HeatPoint(
        number=now.number,
        film_nm=now.film_nm or 0.0,
        u_film_nm=now.u_film_nm,
        share_tinted=now.share_tinted,
        u_share_tinted=now.u_share_tinted,
        expected_nm=None if expected is None else max(0.0, expected),
        u_expected_nm=u_expected,
        settings=settings,
        total=total,
        alarm=total > 1.0,
    )


def _state(points: Sequence[HeatPoint], count: int, *, looked: bool) -> State:
    if not points or count < _FEW:
        return "too few"
    last = points[-1]
    if last.alarm:
        return "looked" if looked else "hotter"
    if last.total > 0.5:  # noqa: PLR2004 - half way
        return "watch"
    return "explained" if last.settings == "hotter" else "steady"
