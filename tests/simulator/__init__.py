"""The simulator: spray jobs whose truth is known, for tests, benchmarks and the making of the demo."""
