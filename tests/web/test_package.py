"""What is installed: a built wheel holds every page, script and licence; what is missing is said by name."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WEB = ROOT / "src" / "wringout" / "web"

LACKING = """
import importlib.util
found = importlib.util.find_spec
importlib.util.find_spec = lambda name, *more: None if name == "starlette" else found(name, *more)
from wringout.cli.main import main
main(["serve"])
"""


def test_a_wheel_holds_every_template_script_and_licence(tmp_path: Path) -> None:
    built = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("*.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    wanted = {
        f"wringout/web/{file.relative_to(WEB).as_posix()}"
        for file in WEB.rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    }
    assert wanted - names == set()
    held = {Path(name).name for name in names}
    assert {"base.html", "worker.js", "htmx.txt", "uplot.txt", "wringout.css"} <= held


def test_without_the_extra_the_app_says_what_to_install() -> None:
    done = subprocess.run([sys.executable, "-c", LACKING], capture_output=True, text=True)
    assert done.returncode == 2
    assert "starlette" in done.stderr
    assert 'pip install "wringout[web]"' in done.stderr
    assert "Traceback" not in done.stderr
