"""What holds for every test."""

import signal

from hypothesis import settings

# A program that is started by a test inherits what the tests do with an interrupt; whoever runs
# them in the background of a shell has them ignore it, and then nothing could be interrupted.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# The same examples at every run, and no clock: a red test is red for everyone, and a slow machine
# makes none. «--hypothesis-profile=wide» looks elsewhere, and longer.
settings.register_profile("steady", derandomize=True, database=None, deadline=None)
settings.register_profile("wide", max_examples=1000, deadline=None)
settings.load_profile("steady")
