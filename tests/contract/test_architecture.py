"""Rules of the house that no linter knows: imports, names, sizes, traps of libraries."""

from __future__ import annotations

import ast
import importlib.metadata
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("advisor", "app", "vision")
MODULES = sorted(p for name in PACKAGES for p in (ROOT / name).rglob("*.py"))
LINES_MAX = 400

#: Calls that the pinned libraries dropped, changed in silence or warn about.
REMOVED_CALLS = {
    "streamlit": (
        r"use_container_width\s*=",
        r"use_column_width\s*=",
        r"\bst\.experimental_",
        r"\bst\.cache\b(?!_)",
        r"components\.v1",
        r"\bst\.bokeh_chart",
        r"\.add_rows\(",
    ),
    "opencv": (
        r"aruco\.detectMarkers\(",
        r"estimatePoseSingleMarkers",
        r"interpolateCornersCharuco",
        r"\bcv2\.ml\b",
        r"CascadeClassifier",
        r"HOGDescriptor",
    ),
    "scikit-image": (
        r"remove_small_(?:objects|holes)\([^)]*(?:min_size|area_threshold)\s*=",
        r"\bbinary_(?:opening|closing|erosion|dilation)\(",
        r"morphology\.(?:square|rectangle)\(",
        r"\.estimate\(",
        r"\bgreycomatrix\b",
        r"\bmultichannel\s*=",
        r"\bskeletonize_3d\b",
        r"\.(?:filled_area|major_axis_length|minor_axis_length)\b",
    ),
    "scikit-learn": (
        r"LogisticRegression\([^)]*(?:penalty|multi_class|n_jobs)\s*=",
        r"SVC\([^)]*probability\s*=",
        r"cv\s*=\s*[\"']prefit[\"']",
        r"force_all_finite",
    ),
    "skops": (r"trusted\s*=\s*True",),
    "numpy": (
        r"\bnp\.(?:trapz|in1d|float_|product|row_stack|round_)\b",
        r"np\.array\([^)]*copy\s*=\s*False",
    ),
}
#: scipy.ndimage still has these, under the same names.
NDIMAGE = re.compile(r"\b(?:ndimage|ndi)\.binary_\w+\(")

#: Places of one computer. Put together here so that this file does not hold them.
ABSOLUTE_PATH = re.compile(
    r"(?<![\w.~}])/(?:"
    + "|".join(("home", "root", "Users", "tmp", "opt", "mnt", "srv", "work"))
    + r")/\w"
    r"|\b[A-Z]:\\\\?(?:Users|Temp|Windows)"
)


def _tracked():
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    done = subprocess.run(  # noqa: S603
        [git, "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [ROOT / name for name in done.stdout.split("\0") if name]


def _id(path):
    return str(path.relative_to(ROOT))


def test_layers_hold():
    pytest.importorskip("importlinter", reason="import-linter comes with the extra 'dev'")
    done = subprocess.run(  # noqa: S603
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def _names_of(node):
    if isinstance(node, ast.Assign):
        return [t.id for t in node.targets if isinstance(t, ast.Name)]
    if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
        return [node.target.id]
    return []


def _public_names(tree):
    for node in tree.body:
        if "__all__" in _names_of(node):
            return ast.literal_eval(node.value)
    return None


def _isort_order(name):
    kind = 0 if name.isupper() and len(name) > 1 else 1 if name[:1].isupper() else 2
    return kind, [int(p) if p.isdigit() else p for p in re.split(r"(\d+)", name)]


def _is_command(node):
    """Functions that typer calls are the command line, not names to import."""
    return any(
        isinstance(d, ast.Call) and "command" in ast.dump(d.func) for d in node.decorator_list
    )


@pytest.mark.parametrize("path", MODULES, ids=_id)
def test_public_names_are_listed_sorted_and_complete(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    if path.name == "__init__.py" and len(tree.body) <= 1:
        return  # a folder with nothing but its description
    listed = _public_names(tree)
    assert listed is not None, "no __all__"
    assert listed == sorted(listed, key=_isort_order)
    defined = {
        node.name
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not node.name.startswith("_")
        and not _is_command(node)
    }
    assert defined <= set(listed), f"public but not listed: {sorted(defined - set(listed))}"
    bound = defined | {n for node in ast.walk(tree) for n in _names_of(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            bound |= {alias.asname or alias.name for alias in node.names}
    assert set(listed) <= bound, f"listed but not there: {sorted(set(listed) - bound)}"


@pytest.mark.parametrize("path", MODULES, ids=_id)
def test_modules_stay_small(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LINES_MAX


def test_files_of_the_page_shadow_nothing():
    """The page server puts ``app/`` first on the import path: a file there hides a library."""
    dependencies = set(importlib.metadata.packages_distributions()) - set(PACKAGES)
    taken = set(sys.stdlib_module_names) | dependencies
    here = {p.stem for p in (ROOT / "app").iterdir() if p.suffix == ".py" or p.is_dir()}
    assert here & taken == set()
    assert not (ROOT / "app" / "pages").exists(), "that name switches on another mechanism"


def test_tracked_files_hold_no_absolute_paths():
    found = []
    for path in _tracked():
        data = path.read_bytes() if path.exists() else b""
        if b"\0" in data:
            continue  # a picture, a table of numbers, a model
        for number, line in enumerate(data.decode("utf-8", "replace").splitlines(), 1):
            if ABSOLUTE_PATH.search(line):
                found.append(f"{_id(path)}:{number}: {line.strip()[:80]}")
    assert not found, "\n".join(found)


@pytest.mark.parametrize("library", sorted(REMOVED_CALLS))
def test_calls_that_libraries_dropped_are_absent(library):
    found = []
    for path in MODULES:
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            for pattern in REMOVED_CALLS[library]:
                if re.search(pattern, NDIMAGE.sub("", line)):
                    found += [f"{_id(path)}:{number}: {line.strip()}"]
    assert not found, "\n".join(found)


def test_the_list_of_dropped_calls_can_fail():
    assert re.search(REMOVED_CALLS["streamlit"][0], "st.button('x', use_container_width=True)")
    assert re.search(REMOVED_CALLS["scikit-image"][0], "remove_small_objects(m, min_size=3)")
    assert ABSOLUTE_PATH.search("open('/" + "home/someone/x')")


@pytest.mark.parametrize("path", MODULES, ids=_id)
def test_nothing_reads_a_model_or_a_pickle_behind_our_back(path):
    """A pickle runs code when it is opened; models go through one module and an allow-list."""
    text = path.read_text(encoding="utf-8")
    assert not re.search(
        r"^\s*(?:import|from)\s+(?:pickle|dill|cloudpickle|joblib|click)\b", text, re.M
    )
