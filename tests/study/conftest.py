"""Speed is not what these tests are about: a loaded machine must not fail them."""

from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
