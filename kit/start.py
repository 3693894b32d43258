"""From a bare Python with pip to a sample report, or to the tests: one command each.

``python3 -m kit.start report`` makes ``.venv`` beside this package, installs the pinned
requirements into it (versions and hashes) and makes the report of a sample session;
``python3 -m kit.start test`` does the same and runs the tests. Standard library only: this file
runs before anything is installed. A second call finds everything in place and skips the set-up.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

__all__ = ["main"]

ROOT = Path(__file__).resolve().parent.parent
USAGE = """usage: python3 -m kit.start report [RECORD] | test [PYTEST OPTIONS] | lab | env

  report   set up .venv, then make the report of RECORD (default: sample_sessions/full-day)
  test     set up .venv, then run the tests
  lab      set up .venv, then open JupyterLab on report_templates/
  env      set up .venv only"""
DEFAULT_RECORD = "sample_sessions/full-day"


def say(text: str) -> None:
    """Print one line at once, so that it stands above what the next process prints."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def bin_folder(env: Path) -> Path:
    """Return the folder of an environment's executables."""
    return env / ("Scripts" if os.name == "nt" else "bin")


def stamp(requirements: Path) -> str:
    """Return what the environment must have been made from to be up to date."""
    digest = hashlib.sha256(requirements.read_bytes())
    digest.update((ROOT / "pyproject.toml").read_bytes())
    digest.update(f"{sys.version_info[:2]} {ROOT}".encode())
    return digest.hexdigest()


def prepare(env: Path, requirements: Path) -> None:
    """Make or update the environment; do nothing if it is already as pinned."""
    mark = env / f"made-from-{requirements.stem}"
    wanted = stamp(requirements)
    if mark.exists() and mark.read_text(encoding="ascii") == wanted:
        return
    say(f"Setting up {env.name} (once; needs about 700 MB of disk and some minutes) …")
    if not (env / "pyvenv.cfg").exists():
        # without ensurepip, which some systems split off: the pip that runs this installs into it
        venv.EnvBuilder(with_pip=False, symlinks=os.name != "nt").create(env)
    python = bin_folder(env) / ("python.exe" if os.name == "nt" else "python")
    pip = [sys.executable, "-m", "pip", "--python", str(python), "--disable-pip-version-check"]
    install = [*pip, "install", "--quiet", "--no-warn-script-location"]
    subprocess.run([*install, "--require-hashes", "-r", str(requirements)], check=True)
    editable = ["--no-deps", "--no-build-isolation", "--editable", str(ROOT)]
    subprocess.run([*install, *editable], check=True)
    mark.write_text(wanted, encoding="ascii")


def main(arguments: list[str] | None = None) -> int:
    """Run one of ``report``, ``test``, ``lab``, ``env``; return the exit status."""
    words = sys.argv[1:] if arguments is None else arguments
    if not words or words[0] not in ("report", "test", "lab", "env"):
        say(USAGE)
        return 2
    verb, *rest = words
    env = Path(os.environ.get("RUNDOWN_ENV", ROOT / ".venv"))
    try:
        prepare(env, ROOT / "requirements" / ("test.txt" if verb == "test" else "report.txt"))
    except subprocess.CalledProcessError as failure:
        say(f"The set-up stopped: pip ended with status {failure.returncode}; see its words above.")
        say(f"Remedy: check the network, delete {env.name} and run the same command again.")
        return 1
    programs = bin_folder(env)
    python = str(programs / "python")
    commands = {
        "report": [python, "-m", "kit", "report", *(rest or [str(ROOT / DEFAULT_RECORD)])],
        "test": [python, "-m", "pytest", *rest],
        "lab": [str(programs / "jupyter"), "lab", str(ROOT / "report_templates"), *rest],
    }
    if verb == "env":
        say(f"Ready: {programs}")
        return 0
    folder = Path.cwd() if verb == "report" else ROOT
    return subprocess.run(commands[verb], cwd=folder, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
