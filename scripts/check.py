"""What has to pass before a commit: ``python3 scripts/check.py [--no-tests]``.

Lint, format and types first, then every test; all of them run even if one fails.
"""

import sys

import own_venv

READ = ("geom", "scripts", "tests", "docs")


def check(arguments: list) -> int:
    if arguments not in ([], ["--no-tests"]):
        sys.exit("usage: check.py [--no-tests]")
    python = own_venv.own_python("test", "check")
    steps = {
        "ruff check": (python, "-m", "ruff", "check", *READ),
        "ruff format": (python, "-m", "ruff", "format", "--check", *READ),
        "mypy": (python, "-m", "mypy"),
        "mypy, as a user": (python, "-m", "mypy", "tests/typed_user.py"),
        "tests": (python, "scripts/test.py"),
    }
    if arguments:
        del steps["tests"]
    failed = []
    for name, command in steps.items():
        print(f"== {name}", flush=True)
        if own_venv.run(*command) != 0:
            failed.append(name)
    print("Failed: " + ", ".join(failed) if failed else "All checks passed.")
    return 1 if failed else 0


own_venv.main(check)
