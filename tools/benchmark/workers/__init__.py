"""Programs that read pictures for the benchmark, each in an environment of its own, driven by lines of JSON."""
