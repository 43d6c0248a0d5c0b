"""The part of the page that says what to change: one thing, why, what to expect."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

import streamlit as st

from app.plain import change_line, check_line, cut_line
from app.wording import CAUTIONS, TRUST_WORDS, VERDICT_WORDS

if TYPE_CHECKING:
    from app.show import Units

__all__ = ["show_advice", "show_cautions", "show_first_cut", "show_limits"]

Json = dict[str, Any]
_ORDER = {"exceeded": 0, "near": 1, "ok": 2}
_MARKS = {"exceeded": "\N{CROSS MARK}", "near": "\N{WARNING SIGN}", "ok": "\N{CHECK MARK}"}


def show_advice(advice: Json, units: Units) -> None:
    """Show the verdict, the one change with its reasons, and the next cut."""
    st.header(VERDICT_WORDS[advice["verdict"]], anchor=False)
    change = advice.get("change")
    if change:
        st.html(f'<p class="bc-change">{escape(change_line(change, units))}</p>')
    st.markdown(_plain(advice["because"]))
    _steps(advice)
    if change:
        st.html(_reasons(change, told=advice["because"]))
        if change.get("also"):
            st.markdown("Also: " + "; ".join(_plain(_also(a, units)) for a in change["also"]))
    if change and advice.get("next_cut"):
        line = escape(cut_line(advice["next_cut"], units))
        st.html(f'<p class="bc-why"><b>Next cut</b> {line}</p>')


def show_first_cut(advice: Json, units: Units) -> None:
    """Show the advised first cut on one line, with its reasons folded away."""
    st.header(VERDICT_WORDS[advice["verdict"]], anchor=False)
    if advice.get("next_cut"):
        st.html(f'<p class="bc-cut">{escape(cut_line(advice["next_cut"], units))}</p>')
    with st.expander("Why this cut"):
        st.markdown(_plain(advice["because"]))
        _steps(advice)
        _grounds(advice, units)


def _steps(advice: Json) -> None:
    if advice.get("do"):
        st.markdown("\n".join(f"{n}. {_plain(step)}" for n, step in enumerate(advice["do"], 1)))


def show_cautions(advice: Json) -> None:
    """Show what can hurt, all of it in one box and never folded away."""
    if advice["cautions"]:
        st.warning("\n".join(f"- {_plain(caution)}" for caution in advice["cautions"]))


def _also(item: Json | str, units: Units) -> str:
    return item if isinstance(item, str) else change_line(item, units)


def _reasons(change: Json, *, told: str) -> str:
    """Return why, what to expect and what else; what was told already is not said again."""
    rows = (("Why", "because"), ("Expect", "expect"), ("If not", "if_not"))
    return "".join(
        f'<p class="bc-why"><b>{word}</b> {escape(change[key])}</p>'
        for word, key in rows
        if change.get(key) and change[key] != told
    )


def show_limits(advice: Json, units: Units) -> None:
    """Show limits with the tightest first, trust and sources, and the shop rules."""
    checks = sorted(advice["checks"], key=lambda check: _ORDER[check["severity"]])
    with st.expander(_limits_title(checks)):
        _grounds(advice, units)


def _grounds(advice: Json, units: Units) -> None:
    checks = sorted(advice["checks"], key=lambda check: _ORDER[check["severity"]])
    lines = [f"- {_MARKS[c['severity']]} {_plain(check_line(c, units))}" for c in checks]
    st.markdown("\n".join(lines))
    st.markdown(f"**How sure is this?** It is {TRUST_WORDS[advice['trust']]}.")
    change = advice.get("change") or {}
    grounds = [*advice.get("trust_why", []), *change.get("sources", [])]
    grounds += advice.get("sources", [])
    st.markdown("\n".join(f"- {_plain(text)}" for text in dict.fromkeys(grounds)))
    st.markdown("**Shop rules**")
    st.markdown("\n".join(f"- {text}" for text in CAUTIONS))


def _limits_title(checks: list[Json]) -> str:
    """Return the tightest limits in one line: shape and word, never colour alone."""
    if not checks:
        return "Reasons and shop rules"
    worst = checks[0]["severity"]
    if worst == "ok":
        return f"{_MARKS['ok']} Inside all limits"
    names = ", ".join(c["limit"] for c in checks if c["severity"] == worst)
    words = "Over the limit" if worst == "exceeded" else "Inside; close to the limit"
    return f"{_MARKS[worst]} {words}: {_plain(names)}"


def _plain(text: str) -> str:
    """Return text that Markdown leaves as it is."""
    return "".join("\\" + c if c in "\\`*_{}[]<>#|~$:" else c for c in text)
