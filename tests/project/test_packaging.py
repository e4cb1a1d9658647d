"""The rule books and data sets are found however the package came to be there."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LIBRARIES = sysconfig.get_path("purelib")

LOOK = """
import json, miner
from miner import rulebook
from miner.core import resources
print(json.dumps({
    "package": miner.__file__,
    "rules": str(resources.folder("rules")),
    "datasets": str(resources.folder("datasets")),
    "docs": str(resources.folder("docs")),
    "books": sorted(path.name for path in resources.folder("rules").glob("*.toml")),
    "references": len(list(resources.folder("datasets").glob("reference/*.csv"))),
    "hash": rulebook.load().hash,
    "version": miner.__version__,
}))
"""


def run(*command: str | Path, cwd: Path = ROOT, **environment: str) -> str:
    clean = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    clean |= {"PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_ROOT_USER_ACTION": "ignore"}
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env=clean | environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def empty_environment(home: Path) -> Path:
    """Make an environment that has the libraries of this one, but not miner."""
    venv.EnvBuilder(with_pip=False, symlinks=True).create(home)
    python = home / "bin" / "python"
    target = run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))").strip()
    Path(target, "libraries.pth").write_text(LIBRARIES + "\n", encoding="utf-8")
    return python


def install(python: Path, *what: str | Path) -> None:
    pip = (sys.executable, "-m", "pip", "--python", python, "install", "--quiet")
    run(*pip, "--no-index", "--no-deps", "--no-build-isolation", "--ignore-installed", *what)


@pytest.fixture(scope="module")
def archives(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Build the source archive from the checkout, and the wheel from the source archive."""
    out = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", out, ROOT)
    return next(out.glob("*.tar.gz")), next(out.glob("*.whl"))


@pytest.mark.parametrize("kind", ["wheel", "editable", "checkout"])
def test_rules_and_datasets_are_found(
    kind: str, archives: tuple[Path, Path], tmp_path: Path
) -> None:
    python = empty_environment(tmp_path / "environment")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    path = {}
    if kind == "wheel":
        install(python, archives[1])
    elif kind == "editable":
        install(python, "--editable", ROOT)
    else:
        path = {"PYTHONPATH": str(ROOT)}

    seen = json.loads(run(python, "-c", LOOK, cwd=elsewhere, **path))

    if kind == "wheel":
        package = Path(seen["package"]).parent
        assert package.is_relative_to(tmp_path / "environment")
    else:
        assert Path(seen["package"]).parent == ROOT / "miner"
        package = ROOT
        assert not list((tmp_path / "environment").rglob("site-packages/miner"))  # no stale copies
    assert Path(seen["rules"]) == package / "rules"
    assert Path(seen["datasets"]) == package / "datasets"
    assert Path(seen["docs"]) == package / "docs"
    assert seen["books"] == [
        "cautions.toml",
        "exports.toml",
        "factors.toml",
        "guardrails.toml",
        "outcomes.toml",
        "wording.toml",
    ]
    assert seen["references"] == len(list(ROOT.glob("datasets/reference/*.csv"))) > 0
    if kind != "checkout":
        said = run(python.with_name("miner"), "--version", cwd=elsewhere)
        assert seen["version"] in said


def test_without_an_installation_there_is_no_miner_to_find(tmp_path: Path) -> None:
    python = empty_environment(tmp_path / "environment")
    look = "import pydantic\ntry: import miner.core.resources\nexcept ImportError: print('none')"
    assert run(python, "-c", look, cwd=tmp_path).strip() == "none"


def test_the_wheel_holds_the_package_the_rules_and_the_data_and_nothing_else(
    archives: tuple[Path, Path],
) -> None:
    with zipfile.ZipFile(archives[1]) as wheel:
        names = set(wheel.namelist())
    tops = {name.split("/")[0].split("-")[0] for name in names}
    assert tops == {"miner"}
    for folder in ("rules", "datasets", "docs"):
        expected = {
            f"miner/{path.relative_to(ROOT).as_posix()}"
            for path in (ROOT / folder).rglob("*")
            if path.is_file() and "__pycache__" not in path.parts
        }
        assert expected
        assert {name for name in names if name.startswith(f"miner/{folder}/")} == expected
    assert not [name for name in names if "tests" in name.split("/")]


def test_the_source_archive_holds_what_is_needed_to_test_it(archives: tuple[Path, Path]) -> None:
    with tarfile.open(archives[0]) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    needed = {"Makefile", "constraints.txt", "pyproject.toml", "README.md", "LICENSE", "mkdocs.yml"}
    assert needed <= names
    assert any(name.startswith("tests/") for name in names)


def test_the_same_environment_comes_out_everywhere() -> None:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert lines == sorted(lines, key=str.casefold)
    for line in lines:
        name, mark, version = line.partition("==")
        assert name, line
        assert mark, line
        assert version, line
        assert not any(sign in line for sign in (":", "@", "/", " ")), line
