"""What holds for all tests."""

from hypothesis import settings

# How long an example takes is told by the benchmarks; a busy computer is no failure.
settings.register_profile("any computer", deadline=None)
settings.load_profile("any computer")
