"""Settings every test shares."""

import os

# As the command line does, before numpy is loaded: on an even head rounding picks the side of the
# midline whose slopes count, and with more threads it may pick the other one.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import settings

# A busy two-core machine pauses for longer than any deadline for one example.
settings.register_profile("usual", deadline=None, print_blob=True)
settings.register_profile("thorough", parent=settings.get_profile("usual"), max_examples=1000)
settings.load_profile("usual")
