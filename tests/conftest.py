"""What holds for every test."""

from hypothesis import settings

# The same examples at every run, and no clock: a red test is red for everyone, and a slow machine
# makes none. «--hypothesis-profile=wide» looks elsewhere, and longer.
settings.register_profile("steady", derandomize=True, database=None, deadline=None)
settings.register_profile("wide", max_examples=1000, deadline=None)
settings.load_profile("steady")
