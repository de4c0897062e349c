"""All tests: ``python3 scripts/test.py [pytest arguments]``.

Needs only Python and pip: the first run makes ``.venv`` and installs what tests need.
Without arguments every test and every doctest runs, on all cores.
"""

import os

import own_venv

# A file's tests share what is made once, so a file is one worker's; files are handed
# out in the order of collection, in which tests/conftest.py puts the longest first.
SPREAD = ["-n", "auto", "--dist", "loadfile", "--no-loadscope-reorder"]
EVERYTHING = [*SPREAD, "--doctest-modules", "tests", "geom"]


def test(arguments: list) -> int:
    python = own_venv.own_python("test")
    # Each worker has a core of its own: threads on top of that double the time.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    # What is compiled is kept, also the tests themselves, whatever the shell says.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    # The commands that tests start read modules compiled once, not each time anew.
    own_venv.run(python, "-m", "compileall", "-q", "geom")
    return own_venv.run(python, "-m", "pytest", *(arguments or EVERYTHING))


own_venv.main(test)
