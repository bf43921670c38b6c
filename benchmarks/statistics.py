"""Whether the study's statistics keep their promises: coverage, false alarms, power, speed.

Run: python benchmarks/statistics.py [--repeats N, default 2000]
The inference of queued frames has its own: python benchmarks/queue_inference.py
"""

import sys

if __name__ == "__main__":
    from study_statistics import main

    main()
else:
    # This folder leads the search path of every benchmark, and Python's own module has
    # this name: whoever imports it wants that one.
    import importlib.util
    import sysconfig
    from pathlib import Path

    path = Path(sysconfig.get_path("stdlib")) / "statistics.py"
    spec = importlib.util.spec_from_file_location(__name__, path)
    if spec is None or spec.loader is None:
        raise ImportError("Python's own statistics module is not where it should be")
    sys.modules[__name__] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sys.modules[__name__])
