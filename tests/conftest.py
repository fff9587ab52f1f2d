"""What all tests share: how hypothesis searches."""

import os

from hypothesis import settings

# No deadline: how long an example takes says more about the machine than about the code.
settings.register_profile("here", deadline=None)
# Continuous integration looks at the same examples each time; people find new ones.
settings.register_profile("integration", deadline=None, derandomize=True)
settings.load_profile("integration" if os.environ.get("CI") else "here")
