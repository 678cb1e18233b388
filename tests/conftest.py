"""Settings every test shares."""

from hypothesis import settings

# A busy two-core machine pauses for longer than any deadline for one example.
settings.register_profile("usual", deadline=None, print_blob=True)
settings.register_profile("thorough", parent=settings.get_profile("usual"), max_examples=1000)
settings.load_profile("usual")
