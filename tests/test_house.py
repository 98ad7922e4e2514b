"""The house rules that a machine can check: which way imports point, and that names promised are names there."""

import ast
import importlib
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import effects
import preview

ROOT = Path(preview.__file__).parent

# What each package may import of the others, one way: window, handover, commands → looks → power, light → scene.
MAY_IMPORT = {
    "scene": set(),
    "typeface": set(),
    "power": {"scene"},
    "light": {"scene", "typeface"},
    "looks": {"scene", "power", "light", "typeface"},
    "handover": {"scene", "power", "light", "looks", "typeface"},
    "window": {"scene", "power", "light", "looks", "handover", "typeface"},
    "pack": {"scene", "power", "light", "looks", "handover"},
}
PURE = [
    "effects",
    "preview.scene",
    "preview.typeface",
    "preview.power",
    "preview.light",
    "preview.looks",
    "preview.handover",
    "preview.pack",
]


def modules_of(package: str) -> list[str]:
    found = importlib.import_module(package)
    return [package, *(m.name for m in pkgutil.walk_packages(found.__path__, package + "."))]


def imports_of(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names.add(node.module or "")
    return names


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_arrows_point_one_way(package: str) -> None:
    for path in (ROOT / package).rglob("*.py"):
        for name in imports_of(path):
            if name.startswith("preview."):
                target = name.split(".")[1]
                assert target == package or target in MAY_IMPORT[package], f"{path} imports {name}"


def test_effects_import_numpy_alone() -> None:
    for path in Path(effects.__file__).parent.rglob("*.py"):
        tops = {name.split(".")[0] for name in imports_of(path)}
        assert tops - set(sys.stdlib_module_names) <= {"numpy", "effects"}, path


@pytest.mark.parametrize("package", PURE)
def test_pure_packages_do_not_bring_pygame(package: str) -> None:
    code = f"import sys\nfor m in {modules_of(package)!r}: __import__(m)\nsys.exit('pygame' in sys.modules)"
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_only_the_window_imports_pygame() -> None:
    users = {p.parent.name for p in ROOT.rglob("*.py") if any(n.split(".")[0] == "pygame" for n in imports_of(p))}
    assert users <= {"window"}


@pytest.mark.parametrize("name", [m for p in PURE for m in modules_of(p)])
def test_exported_names_exist(name: str) -> None:
    module = importlib.import_module(name)
    for public in getattr(module, "__all__", []):
        assert hasattr(module, public), f"{name}.__all__ promises {public}"


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom click.testing import CliRunner\nfrom preview.cli import group\n"
        "result = CliRunner().invoke(group, ['--help'])\nassert result.exit_code == 0, result.output\n"
        "print(sorted({'numpy', 'scipy', 'pydantic', 'pygame', 'cv2', 'PIL', 'imageio', 'jinja2'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
